// A drawing: what is told where one points, and the place that is chosen by a press or a key.
// What comes from the server is its own markup, in which all that a person typed is text.

const NEAR_PX = 24;

export default function ({ data, parentElement, setStateValue }) {
  const root = parentElement.querySelector(".drawing");
  root.mine ??= begin(root);
  root.mine.choose = (number) => setStateValue("chosen", number);
  root.mine.show(data);
}

function begin(root) {
  const mine = { choose: null, show };
  let drawn = ""; // the markup that stands there
  let now = null; // what the server said last
  let at = -1; // the place that is pointed at
  let plan, told, ring, seen, spoken;

  function show(data) {
    now = data;
    if (data.drawn !== drawn) {
      drawn = data.drawn;
      root.innerHTML = drawn;
      plan = root.querySelector(".plan");
      told = add("told");
      seen = add("ring seen");
      ring = add("ring");
      // A box that was not shown is not read out; this one always is there.
      spoken = add("spoken");
      spoken.setAttribute("aria-live", "polite");
      leave();
      if (data.choosing) {
        plan.tabIndex = 0;
        plan.setAttribute("role", "application");
        plan.setAttribute("aria-label", data.choosing);
      }
    }
    hatch();
    if (at >= 0) point(at, !seen.hidden);
    place(ring, now.places.find(([, , , number]) => number !== null && number === now.chosen));
  }

  // Hatches keep their size, as lines and signs do.
  function hatch() {
    if (!plan?.clientWidth) return;
    for (const pattern of plan.querySelectorAll("pattern")) {
      const units = pattern.ownerSVGElement.viewBox.baseVal.width;
      pattern.setAttribute("patternTransform", `scale(${units / plan.clientWidth})`);
    }
  }

  function add(kind) {
    const made = document.createElement("div");
    made.className = kind;
    plan.append(made);
    return made;
  }

  function place(what, where) {
    what.hidden = !where;
    if (!where) return;
    what.style.left = where[0] + "%";
    what.style.top = where[1] + "%";
  }

  function leave() {
    at = -1;
    place(told);
    place(seen);
  }

  function point(number, byKey) {
    at = number;
    const where = now.places[number];
    if (!where) return leave();
    place(seen, byKey && where);
    place(told, where[2] && where);
    if (!where[2]) return;
    told.innerHTML = where[2];
    if (spoken.textContent !== told.innerText) spoken.textContent = told.innerText;
    // As far to the left of its place as that is from the left of all the room there is, which a
    // narrow plan leaves free: it never leaves that.
    const across = (plan.offsetLeft + (where[0] / 100) * plan.clientWidth) / root.clientWidth;
    const up = where[1] > 50 ? "calc(-100% - 10px)" : "10px";
    told.style.maxWidth = `min(22 * var(--rem), ${root.clientWidth}px)`;
    told.style.transform = `translate(${-100 * across}%,${up})`;
  }

  // The place nearest to the pointer, of all or of those that can be chosen.
  function nearest(event, choosing) {
    const box = plan.getBoundingClientRect();
    let best = -1;
    let least = NEAR_PX;
    now.places.forEach(([x, y, , number], k) => {
      if (choosing && number === null) return;
      const right = box.left + (x / 100) * box.width - event.clientX;
      const down = box.top + (y / 100) * box.height - event.clientY;
      const away = Math.hypot(right, down);
      if (away < least) [best, least] = [k, away];
    });
    return best;
  }

  function choose(number) {
    const chosen = now.places[number]?.[3] ?? null;
    if (chosen === null) return;
    now.chosen = chosen === now.chosen ? null : chosen;
    place(ring, now.chosen === null ? undefined : now.places[number]);
    mine.choose(now.chosen);
  }

  root.addEventListener("pointermove", (event) => {
    if (event.pointerType === "mouse") point(nearest(event, false), false);
  });
  root.addEventListener("pointerleave", leave);
  root.addEventListener("focusout", leave);
  root.addEventListener("click", (event) => {
    point(nearest(event, false), false);
    choose(nearest(event, true));
  });

  new ResizeObserver(hatch).observe(root);

  const WAYS = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowDown: [0, 1], ArrowUp: [0, -1] };
  root.addEventListener("keydown", (event) => {
    if (event.key === "Escape") return leave();
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      return choose(at);
    }
    const way = WAYS[event.key];
    if (!way) return;
    event.preventDefault();
    const box = plan.getBoundingClientRect();
    const from = now.places[at] ?? now.places.find((p) => p[3] === now.chosen) ?? [50, 50];
    let best = at;
    let least = Infinity;
    now.places.forEach(([x, y, , number], k) => {
      if (number === null) return;
      const right = ((x - from[0]) / 100) * box.width;
      const down = ((y - from[1]) / 100) * box.height;
      const ahead = right * way[0] + down * way[1];
      const aside = Math.abs(right * way[1]) + Math.abs(down * way[0]);
      if (ahead > 0.5 && aside <= ahead && ahead + 2 * aside < least) {
        [best, least] = [k, ahead + 2 * aside];
      }
    });
    point(best, true);
  });

  return mine;
}
