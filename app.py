"""Starts the front end from a checkout: `streamlit run app.py`."""

from flatcheck.ui.page import main

main()
