// Values under a pointer in all pictures at once, zoom, curves on and off.
page.pictures = (() => {
  const { make } = page;
  const all = [];
  const { pictures, abscissas } = page.data("picture-data");
  let cursor = null; // { label, x }: the axis by its label, and a value on it
  const zooms = new Map(); // from the label of an axis to its range
  const off = new Set();
  const GROUP = "\u001f";

  const ascends = (values) => values.every((x, at) => at === 0 || x > values[at - 1]);
  const nearest = (values, x) => {
    let [low, high] = [0, values.length - 1];
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (values[middle] < x) low = middle; else high = middle;
    }
    return Math.abs(values[low] - x) <= Math.abs(values[high] - x) ? low : high;
  };
  const curvesOf = (chart) => chart.series.filter((one) => one.follows);
  const shownX = (chart) => zooms.get(chart.xLabel) ?? chart.x;
  const unitOf = (label) => (label.match(/\(([^()]*)\)\s*$/) ?? ["", ""])[1];

  // The upright range: while zoomed, that of the visible curves and of the lines across.
  const shownY = (picture, chart) => {
    const zoom = zooms.get(chart.xLabel);
    if (!zoom || chart.series.length === 0) return chart.y;
    let [low, high] = [Infinity, -Infinity];
    for (const one of chart.series) {
      if (off.has(picture.id + GROUP + one.name)) continue;
      one.xs.forEach((x, at) => {
        const y = one.y[at];
        if (y !== null && (one.across || (x >= zoom[0] && x <= zoom[1]))) { low = Math.min(low, y); high = Math.max(high, y); }
      });
    }
    if (!(high >= low)) return chart.y;
    const room = 0.06 * (high - low || Math.abs(high) || 1);
    return [Math.max(low - room, chart.y[0]), Math.min(high + room, chart.y[1])];
  };
  const placeX = (chart, x) => { const [a, b] = shownX(chart); return chart.frame[0] + (x - a) / (b - a) * (chart.frame[2] - chart.frame[0]); };
  const placeY = (picture, chart, y) => { const [a, b] = shownY(picture, chart); return chart.frame[3] - (y - a) / (b - a) * (chart.frame[3] - chart.frame[1]); };

  const ticks = ([low, high], wanted) => {
    const rough = (high - low) / wanted;
    const decade = 10 ** Math.floor(Math.log10(rough));
    const step = decade * ([1, 2, 5, 10].find((one) => one * decade >= rough) ?? 10);
    const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    const made = [];
    for (let at = Math.ceil(low / step - 1e-9); at * step <= high + 1e-9 * step && made.length < 40; at += 1) made.push([at * step, (at * step).toFixed(Math.min(digits, 9))]);
    return made;
  };

  // Axes and curves drawn from the values.
  const drawn = (picture, chart, at) => {
    const [left, top, right, bottom] = chart.frame;
    const group = make("g", { class: "redrawn" });
    const clip = picture.id + "-clip-" + at;
    group.append(make("clipPath", { id: clip }, make("rect", { x: left, y: top, width: right - left, height: bottom - top })));
    const text = (x, y, anchor, words, more = {}) => make("text", { x, y, "text-anchor": anchor, "font-size": 180, fill: "#000", ...more }, words);
    for (const [value, name] of ticks(shownX(chart), 8)) {
      const x = placeX(chart, value);
      group.append(make("line", { x1: x, x2: x, y1: top, y2: bottom, stroke: "#DEDEDE", "stroke-width": 10 }), text(x, bottom + 260, "middle", name));
    }
    for (const [value, name] of ticks(shownY(picture, chart), Math.max(3, Math.min(8, Math.round((bottom - top) / 900))))) {
      const y = placeY(picture, chart, value);
      group.append(make("line", { x1: left, x2: right, y1: y, y2: y, stroke: "#DEDEDE", "stroke-width": 10 }), text(left - 80, y + 65, "end", name));
    }
    group.append(text((left + right) / 2, bottom + 560, "middle", chart.xLabel), text(left - 720, (top + bottom) / 2, "middle", chart.yLabel, { transform: `rotate(270, ${left - 720}, ${(top + bottom) / 2})` }));
    const inside = make("g", { "clip-path": `url(#${clip})` });
    inside.append(...areasOf(picture, chart, at));
    for (const band of chart.bands ?? []) inside.append(make("path", { class: "band", d: pathOf(picture, chart, band.x, band.low) + pathOf(picture, chart, [...band.x].reverse(), [...band.high].reverse()).replace("M", "L") + "Z" }));
    for (const one of chart.series) {
      const line = make("path", { d: pathOf(picture, chart, one.xs, one.y), fill: "none", stroke: one.colour, "stroke-width": one.width, "stroke-dasharray": one.dashes, "data-name": one.name });
      inside.append(line);
    }
    group.append(inside, make("rect", { x: left, y: top, width: right - left, height: bottom - top, fill: "none", stroke: "#6E6E6E", "stroke-width": 10 }));
    return group;
  };
  // Areas behind the curves, such as those that pass, moved to where the zoomed axes have them.
  const areasOf = (picture, chart, at) => {
    const [a, b] = shownX(chart);
    const [low, high] = shownY(picture, chart);
    const [left, , , bottom] = chart.frame;
    const [scaleX, scaleY] = [(chart.x[1] - chart.x[0]) / (b - a), (chart.y[1] - chart.y[0]) / (high - low)];
    const [moveX, moveY] = [placeX(chart, chart.x[0]) - scaleX * left, placeY(picture, chart, chart.y[0]) - scaleY * bottom];
    return [...picture.svg.querySelectorAll(`[data-chart="${at}"] :is(polygon, rect)[opacity]`)].map((shape) => {
      const copy = shape.cloneNode();
      copy.setAttribute("transform", `matrix(${scaleX},0,0,${scaleY},${moveX},${moveY})`);
      return copy;
    });
  };
  const pathOf = (picture, chart, xs, ys) => {
    let made = "";
    let goesOn = false;
    xs.forEach((x, at) => {
      if (x === null || ys[at] === null) { goesOn = false; return; }
      made += `${goesOn ? "L" : "M"}${placeX(chart, x).toFixed(0)},${placeY(picture, chart, ys[at]).toFixed(0)}`;
      goesOn = true;
    });
    return made;
  };

  const redraw = (picture) => {
    picture.charts.forEach((chart, at) => {
      const isZoomed = zooms.has(chart.xLabel) && curvesOf(chart).length > 0;
      for (const old of picture.svg.querySelectorAll(`[data-axes="${at}"], [data-chart="${at}"]`)) old.classList.toggle("is-off", isZoomed);
      picture.redrawn[at]?.remove();
      picture.redrawn[at] = null;
      if (isZoomed || picture.isDrawn) {
        picture.redrawn[at] = drawn(picture, chart, at);
        picture.svg.insertBefore(picture.redrawn[at], picture.cursor);
      }
      chart.series.forEach((one, number) => {
        const isOff = off.has(picture.id + GROUP + one.name);
        for (const shape of picture.svg.querySelectorAll(`[data-chart="${at}"] [data-series="${number}"]`)) shape.classList.toggle("is-off", isOff);
      });
      for (const line of picture.redrawn[at]?.querySelectorAll("[data-name]") ?? []) line.classList.toggle("is-off", off.has(picture.id + GROUP + line.getAttribute("data-name")));
    });
    mark(picture);
  };

  // The values of a chart at the cursor: one for each name, or the range of several curves of one name.
  const valuesAt = (picture, chart, x) => {
    const found = new Map();
    for (const one of curvesOf(chart)) {
      if (off.has(picture.id + GROUP + one.name) || x < one.knownX[0] - chart.slack || x > one.knownX[one.knownX.length - 1] + chart.slack) continue;
      const at = nearest(one.knownX, x);
      const entry = found.get(one.name) ?? { name: one.name, colour: one.colour, x: one.knownX[at], low: Infinity, high: -Infinity, count: 0 };
      entry.low = Math.min(entry.low, one.knownY[at]);
      entry.high = Math.max(entry.high, one.knownY[at]);
      entry.count += 1;
      found.set(one.name, entry);
    }
    return [...found.values()];
  };

  const mark = (picture) => {
    picture.cursor.replaceChildren();
    const lines = [];
    for (const chart of picture.charts) {
      if (!cursor || chart.xLabel !== cursor.label) continue;
      const values = valuesAt(picture, chart, cursor.x);
      const [a, b] = shownX(chart);
      if (values.length === 0) continue;
      if (cursor.x >= a && cursor.x <= b) {
        const x = placeX(chart, cursor.x);
        picture.cursor.append(make("line", { x1: x, x2: x, y1: chart.frame[1], y2: chart.frame[3] }));
        for (const one of values.filter((own) => own.count === 1)) {
          const y = placeY(picture, chart, one.low);
          if (y >= chart.frame[1] && y <= chart.frame[3]) picture.cursor.append(make("circle", { cx: placeX(chart, one.x), cy: y, r: 62, stroke: one.colour }));
        }
      }
      const told = values.map((one) => {
        const value = one.count === 1 ? page.shown(one.low) : `${page.shown(one.low)} to ${page.shown(one.high)}`;
        const away = one.x === cursor.x ? "" : ` (at ${page.shown(one.x)})`;
        return `${one.name}: ${value}${away}`;
      });
      const title = chart.title ? `${chart.title}, ` : "";
      lines.push(`${title}${chart.yLabel} at ${page.shown(cursor.x)} ${unitOf(chart.xLabel)}: ${told.join("; ")}`);
    }
    picture.readout.hidden = lines.length === 0;
    picture.readout.replaceChildren(...lines.map((line) => make("p", {}, line)));
  };

  const markAll = () => all.forEach(mark);
  let waiting = 0;
  const pointAt = (label, x, isKept) => {
    cursor = { label, x };
    cancelAnimationFrame(waiting);
    waiting = requestAnimationFrame(markAll);
    if (isKept) { clearTimeout(pointAt.timer); pointAt.timer = setTimeout(() => page.set({ at: `${x}${GROUP}${label}` }), 250); }
  };
  // The values that all curves of a chart have, one after the other.
  const stepsOf = (chart) => {
    const [a, b] = shownX(chart);
    return [...new Set(curvesOf(chart).flatMap((one) => one.knownX))].filter((x) => x >= a && x <= b).sort((one, other) => one - other);
  };
  const zoomTo = (label, range) => {
    page.set({ zoom: range ? [range[0], range[1], label].join(GROUP) : "" }, true);
  };
  const zoomBy = (chart, factor) => {
    const [a, b] = shownX(chart);
    const middle = cursor && cursor.label === chart.xLabel ? Math.min(Math.max(cursor.x, a), b) : (a + b) / 2;
    const [from, to] = [middle - (middle - a) * factor, middle + (b - middle) * factor].map((x) => Math.min(Math.max(x, chart.x[0]), chart.x[1]));
    if (to - from >= chart.x[1] - chart.x[0]) zoomTo(chart.xLabel, null);
    else if (to - from > 1e-6 * (chart.x[1] - chart.x[0])) zoomTo(chart.xLabel, [from, to]);
  };

  const followed = (picture) => picture.charts.find((chart) => curvesOf(chart).length > 0);
  const setUp = (figure, charts, isDrawn) => {
    const svg = figure.querySelector("svg");
    const picture = { id: figure.id, figure, svg, charts, isDrawn, redrawn: [] };
    for (const chart of charts) {
      chart.slack = 0.02 * (chart.x[1] - chart.x[0]);
      for (const one of chart.series) {
        one.xs = Array.isArray(one.x) ? one.x : abscissas[one.x];
        const known = one.xs.map((x, at) => [x, one.y[at]]).filter(([x, y]) => x !== null && y !== null);
        [one.knownX, one.knownY] = [known.map(([x]) => x), known.map(([, y]) => y)];
      }
      // A plane, in which curves turn back, has no value for each place of its axis.
      const curves = chart.series.filter((one) => !one.across);
      const isOverAxis = curves.every((one) => ascends(one.knownX));
      for (const one of chart.series) one.follows = isOverAxis && !one.across && one.knownX.length > 1;
    }
    picture.cursor = make("g", { class: "cursor", "aria-hidden": "true" });
    svg.append(picture.cursor);
    picture.readout = make("div", { class: "readout", hidden: "" });
    const plot = figure.querySelector(".plot");
    plot.after(picture.readout);
    all.push(picture);
    const first = followed(picture);
    const title = figure.querySelector("h3, h4").textContent;
    plot.tabIndex = 0;
    plot.setAttribute("role", "group");
    plot.setAttribute("aria-label", first ? `${title}. Arrow keys step through the values, + and - zoom, 0 shows all.` : title);
    if (!first) return picture;
    plot.addEventListener("focus", () => picture.readout.setAttribute("aria-live", "polite"));
    plot.addEventListener("blur", () => picture.readout.removeAttribute("aria-live"));
    plot.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const steps = stepsOf(first);
      const now = cursor && cursor.label === first.xLabel ? nearest(steps, cursor.x) : -1;
      const moves = { ArrowRight: now + 1, ArrowLeft: now - 1, PageUp: now + 10, PageDown: now - 10, Home: 0, End: steps.length - 1 };
      if (event.key in moves) pointAt(first.xLabel, steps[Math.min(Math.max(moves[event.key], 0), steps.length - 1)], true);
      else if (event.key === "+" || event.key === "=") zoomBy(first, 0.5);
      else if (event.key === "-") zoomBy(first, 2);
      else if (event.key === "0" || event.key === "Escape") zoomTo(first.xLabel, null);
      else return;
      event.preventDefault();
    });
    followPointer(picture);
    plot.parentElement.insertBefore(controls(picture, first, title), picture.readout.nextSibling);
    return picture;
  };

  const followPointer = (picture) => {
    const { svg } = picture;
    const where = (event) => {
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      // The first and the last value are on the frame, where a hand is not steady.
      const chart = picture.charts.find(({ frame, series }) => series.some((one) => one.follows) && at.x >= frame[0] - 150 && at.x <= frame[2] + 150 && at.y >= frame[1] && at.y <= frame[3]);
      if (!chart) return null;
      const [a, b] = shownX(chart);
      const share = (at.x - chart.frame[0]) / (chart.frame[2] - chart.frame[0]);
      return { chart, x: a + Math.min(Math.max(share, 0), 1) * (b - a) };
    };
    let from = null;
    svg.addEventListener("pointermove", (event) => {
      const found = where(event);
      if (!found) return;
      const steps = stepsOf(found.chart);
      if (steps.length > 0) pointAt(found.chart.xLabel, steps[nearest(steps, found.x)], false);
    });
    svg.addEventListener("pointerdown", (event) => { if (event.pointerType === "mouse" && event.button === 0) from = where(event); });
    svg.addEventListener("pointerup", (event) => {
      const [start, to] = [from, where(event)];
      from = null;
      if (!start || !to || start.chart !== to.chart) return;
      const [a, b] = shownX(start.chart);
      const range = [Math.min(start.x, to.x), Math.max(start.x, to.x)];
      if (range[1] - range[0] > 0.02 * (b - a)) zoomTo(start.chart.xLabel, range);
      else if (cursor) pointAt(cursor.label, cursor.x, true);
    });
  };

  const controls = (picture, first, title) => {
    const row = make("div", { class: "controls" });
    const named = (words) => ({ "aria-label": `${words}: ${title}` });
    row.append(page.button("Zoom in", () => zoomBy(first, 0.5), named("Zoom in")), page.button("Zoom out", () => zoomBy(first, 2), named("Zoom out")), page.button("Show all", () => zoomTo(first.xLabel, null), named("Show all")));
    const names = new Map(picture.charts.flatMap((chart) => chart.series).map((one) => [one.name, one]));
    const legend = make("legend", {}, "Curves");
    const set = make("fieldset", {}, legend);
    picture.boxes = [];
    for (const [name, one] of names) {
      const box = make("input", { type: "checkbox" });
      const sample = make("span", { class: "sample", "aria-hidden": "true" });
      sample.style.borderTopColor = one.colour;
      if (one.dashes) sample.style.borderTopStyle = Number(one.dashes.split(" ")[0]) > one.width * 3 ? "dashed" : "dotted";
      box.addEventListener("change", () => {
        const key = picture.id + GROUP + name;
        if (box.checked) off.delete(key); else off.add(key);
        page.set({ off: [...off].join("\n") });
      });
      picture.boxes.push([name, box]);
      set.append(make("label", {}, box, sample, name));
    }
    if (names.size > 1) row.append(set);
    return row;
  };

  // From the address to the pictures.
  let before = null;
  const follow = () => {
    const now = [page.get("zoom"), page.get("off")].join("\n\n");
    const [x, label] = page.get("at").split(GROUP);
    if (label && Number.isFinite(Number(x))) cursor = { label, x: Number(x) };
    if (now === before) { markAll(); return; }
    before = now;
    zooms.clear();
    const [low, high, axis] = page.get("zoom").split(GROUP);
    if (axis && Number(high) > Number(low)) zooms.set(axis, [Number(low), Number(high)]);
    off.clear();
    for (const key of page.get("off").split("\n")) if (key) off.add(key);
    for (const picture of all) {
      for (const [name, box] of picture.boxes ?? []) box.checked = !off.has(picture.id + GROUP + name);
      redraw(picture);
    }
  };
  for (const { id, charts } of pictures) setUp(document.getElementById(id), charts, false);
  page.listen(follow);
  follow();
  const add = (figure, charts) => { const picture = setUp(figure, charts, true); for (const [name, box] of picture.boxes ?? []) box.checked = !off.has(picture.id + GROUP + name); redraw(picture); return picture; };
  const remove = (figure) => { const at = all.findIndex((picture) => picture.figure === figure); if (at >= 0) all.splice(at, 1); };
  return { add, remove };
})();
