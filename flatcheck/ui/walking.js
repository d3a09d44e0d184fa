// One place at a time: what is typed is sent, kept until the server says that it is on disk, and
// sent again if it does not. All that is shown is set as text, never as markup.

export default function ({ data, parentElement, setTriggerValue }) {
  const root = parentElement.querySelector(".walk");
  root.mine ??= begin(root);
  root.mine.tell = (event) => setTriggerValue("said", event);
  root.mine.show(data);
}

function begin(root) {
  const find = (name) => root.querySelector("." + name);
  const field = find("field");
  const tab = Math.random().toString(36).slice(2);
  const mine = { tell: null, show };
  let now = null; // what the server said last
  let waiting = null; // what it was told and has not acknowledged
  let typed = []; // readings entered while waiting
  let count = 0;
  let again = 0;

  field.inputMode = matchMedia("(pointer: coarse)").matches ? "none" : "text";
  field.addEventListener("keydown", (event) => {
    if (event.key === "Enter") {
      event.preventDefault();
      enter(field.value);
    }
  });
  for (const act of ["back", "skip", "later", "keep", "done"]) {
    press(find(act), () => say(act, ""));
  }
  press(find("enter"), () => enter(field.value));
  press(find("erase"), () => {
    field.value = field.value.slice(0, -1);
  });

  function press(key, act) {
    // Keeps the focus in the field.
    key.addEventListener("pointerdown", (event) => event.preventDefault());
    key.addEventListener("click", () => {
      act();
      field.focus({ preventScroll: true });
    });
  }

  function enter(text) {
    text = text.trim();
    field.value = "";
    if (waiting) {
      if (text) typed.push(text);
    } else if (text) {
      say("read", text);
    } else if (now.doubt) {
      say("keep", "");
    }
  }

  function say(act, text) {
    if (waiting) return;
    count += 1;
    waiting = {
      id: `${tab}-${count}`,
      act,
      text,
      row: now.row,
      column: now.column,
      base: now.base,
    };
    for (const name of ["error", "doubt"]) find(name).hidden = true;
    find("status").textContent = text ? `${now.words.saving} ${text}` : "";
    find("status").hidden = false;
    mine.tell(waiting);
    // A connection that dropped loses what was sent; sent twice it is one entry all the same.
    again = setInterval(() => {
      if (root.isConnected) mine.tell({ ...waiting, sent: Date.now() });
      else clearInterval(again);
    }, 2000);
  }

  function show(data) {
    const restarted = now && now.session !== data.session;
    now = data;
    if (waiting && data.ack !== waiting.id) {
      if (restarted) mine.tell({ ...waiting, sent: Date.now() });
      return;
    }
    waiting = null;
    clearInterval(again);
    draw();
    if (typed.length && (data.error || data.doubt)) {
      field.value = typed.shift();
      typed = [];
    } else if (typed.length) {
      say("read", typed.shift());
    }
    const active = document.activeElement;
    if (!active || !active.matches("input, textarea, select, [role=combobox]")) {
      field.focus({ preventScroll: true });
    }
  }

  function draw() {
    const set = (name, text) => {
      find(name).textContent = text;
      find(name).hidden = !text;
    };
    set("count", now.count);
    for (const [k, name] of ["first", "second"].entries()) {
      find(name).querySelector("b").textContent = now.offsets[k][0];
      find(name).querySelector("span").textContent = now.offsets[k][1];
    }
    set("error", now.error);
    set("doubt", now.doubt);
    for (const name of ["back", "skip", "later", "keep", "enter", "done"]) {
      find(name).textContent = now.words[name];
    }
    find("erase").setAttribute("aria-label", now.words.erase);
    set("status", now.doubt ? "" : now.status);
    field.setAttribute("aria-label", now.words.field);
    field.placeholder = now.whole ? `${now.whole} …` : now.unit;
    find("entry").hidden = !now.place;
    for (const name of ["skip", "later"]) find(name).hidden = !now.place || now.doubt;
    find("keep").hidden = !now.doubt;
    keys(find("fractions"), now.fractions, (fraction) => {
      const whole = (field.value.match(/^\s*-?\d+/) || [now.whole])[0].trim();
      if (!whole && !fraction.includes("/")) return;
      enter(fraction.includes("/") ? `${whole} ${fraction}` : whole);
    });
    find("digits").classList.toggle("alone", !now.fractions.length);
    keys(find("digits"), now.digits, (sign) => {
      field.value += sign === now.words.space ? " " : sign;
    });
    map(find("map"), now.map);
  }

  function keys(box, labels, act) {
    if (box.dataset.labels === labels.join()) return;
    box.dataset.labels = labels.join();
    box.replaceChildren(
      ...labels.map((label) => {
        const key = document.createElement("button");
        key.type = "button";
        key.textContent = label;
        press(key, () => act(label));
        return key;
      }),
    );
  }

  return mine;
}

function map(svg, plan) {
  const make = (name, attributes) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const key in attributes) made.setAttribute(key, attributes[key]);
    return made;
  };
  const [width, height] = plan.size;
  svg.setAttribute("viewBox", `${-plan.dot * 3} ${-plan.dot * 3} ${width + plan.dot * 6} ${height + plan.dot * 6}`);
  const parts = plan.rings.map((points) => make("polygon", { points }));
  for (const [x, y, state] of plan.places) {
    const at = state === "at";
    parts.push(make("circle", { cx: x, cy: y, r: plan.dot * (at ? 2 : 1), class: state }));
  }
  svg.replaceChildren(...parts);
}
