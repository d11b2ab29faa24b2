"use strict";
// What is chosen on the page stands in its address, after "#", so that a link leads to the same view.
const page = (() => {
  const values = new Map();
  const listeners = [];
  const read = () => {
    const text = location.hash.slice(1);
    // A plain place in the page is no view.
    if (!text.includes("=")) return false;
    values.clear();
    for (const [key, value] of new URLSearchParams(text)) values.set(key, value);
    return true;
  };
  const tell = () => { for (const listen of listeners) listen(); };
  const written = () => "#" + new URLSearchParams([...values].filter(([, value]) => value !== ""));
  const get = (key) => values.get(key) ?? "";
  // A step that one wants to go back from is a new entry of the history.
  const set = (changes, isStep = false) => {
    for (const [key, value] of Object.entries(changes)) values.set(key, String(value));
    const to = written();
    if (to !== location.hash) {
      if (isStep) history.pushState(null, "", to); else history.replaceState(null, "", to);
    }
    tell();
  };
  addEventListener("popstate", () => { if (read()) tell(); else if (location.hash === "") { values.clear(); tell(); } });
  read();
  const make = (name, attributes = {}, ...content) => {
    const isShape = page.shapes.has(name);
    const made = isShape ? document.createElementNS("http://www.w3.org/2000/svg", name) : document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) if (value !== null) made.setAttribute(key, value);
    made.append(...content);
    return made;
  };
  const button = (text, act, attributes = {}) => {
    const made = make("button", { type: "button", ...attributes }, text);
    made.addEventListener("click", act);
    return made;
  };
  const data = (id) => JSON.parse(document.getElementById(id).textContent);
  // Six digits are more than any instrument gives.
  const shown = (value) => (value === null || value === undefined ? "unbounded" : String(Number(value.toPrecision(6))));
  const shapes = new Set(["svg", "g", "line", "circle", "path", "polyline", "rect", "text", "title", "desc", "clipPath", "defs", "pattern"]);
  // What does not fit is announced above it; on paper nothing stays folded.
  const announce = new ResizeObserver((entries) => {
    for (const { target } of entries) {
      const scrolls = target.closest(".scroll, .plot");
      scrolls.cue.hidden = scrolls.scrollWidth <= scrolls.clientWidth + 1;
    }
  });
  const watch = (scrolls) => {
    scrolls.cue = make("p", { class: "cue", hidden: "" }, "Scroll sideways for the rest");
    scrolls.before(scrolls.cue);
    for (const part of [scrolls, scrolls.firstElementChild]) announce.observe(part);
  };
  let folded = [];
  addEventListener("beforeprint", () => {
    folded = [...document.querySelectorAll("details:not([open])")];
    for (const details of folded) details.open = true;
  });
  addEventListener("afterprint", () => { for (const details of folded) details.open = false; });
  for (const hidden of document.querySelectorAll(".scripted")) hidden.hidden = false;
  return { get, set, listen: (act) => listeners.push(act), make, button, data, shown, shapes, watch };
})();
