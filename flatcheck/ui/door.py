"""Who may come in: where the page is open to a network it asks for the key that was printed."""

import hmac
import os
import time

import streamlit as st

from flatcheck.language import say
from flatcheck.ui.markup import write
from flatcheck.ui.serve import KEY

WRONG_S = 1.0
"""How long a wrong key takes: ten signs are not guessed at that rate."""


def let_in() -> bool:
    """Whether this browser has the key; asks for it where it has not. It stays in the address."""
    key = os.environ.get(KEY, "")
    if not key or hmac.compare_digest(str(st.query_params.get("key", "")).encode(), key.encode()):
        return True
    write(f"<h1>{say('This page asks for a key')}</h1>")
    with st.form("door", border=False):
        tried = st.text_input(say("The key, as it is printed where flatcheck runs"), max_chars=40)
        if st.form_submit_button(say("Go in"), type="primary") and tried:
            if hmac.compare_digest(tried.strip().lower().encode(), key.encode()):
                st.query_params["key"] = key
                st.rerun()
            time.sleep(WRONG_S)
            write(f"<p class=error role=alert>{say('That is not the key.')}</p>")
    return False
