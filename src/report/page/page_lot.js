"use strict";
// Maps of the wafers, and one die among all.
(() => {
  const { make } = page;
  const lot = page.data("die-data");
  const STATUS = ["pass", "fail", "incomplete", "error"];
  const COLOURS = ["#081d58", "#253494", "#225ea8", "#1d91c0", "#41b6c4", "#7fcdbb", "#c7e9b4", "#edf8b1"];
  const DARK = 3; // colours before this one are dark
  const MOST_MAPS = 12;
  const MOST_OPTIONS = 3000;
  const diesText = (count) => (count === 1 ? "1 die" : `${count} dies`);
  const dies = lot.dies.map((row, at) => {
    const [wafer, x, y, status, flags, line, measurement, place, values, worstAt, worstIf, missed, files, carried, message, warnings, decision] = row;
    const [lotName, waferName] = lot.wafers[wafer];
    return { at, wafer, lotName, waferName, x, y, status, line, measurement, place, values, worstAt, worstIf, missed, files, carried, message, warnings, decision,
      counts: Boolean(flags & 1), isUndecided: decision?.[0] === "undecided", isExcluded: Boolean(flags & 2), isOutlier: Boolean(flags & 4), isSuperseded: Boolean(flags & 8),
      name: `${lotName} ${waferName} (${x}, ${y})${flags & 8 || measurement > 1 ? `, measurement ${measurement}` : ""}`, key: `${lotName}/${waferName}/${x}/${y}/${measurement}` };
  });
  const byKey = new Map(dies.map((die) => [die.key, die]));
  const root = document.getElementById("lot");

  const select = (label, key, options) => {
    const field = make("select", {}, ...options.map(([value, text]) => make("option", { value }, text)));
    field.addEventListener("change", () => page.set({ [key]: field.value }));
    return { key, field, options, label: make("label", {}, `${label} `, field) };
  };
  const all = [["", "all"]];
  const distinct = (values) => [...new Set(values)].map((value) => [value, value]);
  const fields = [
    select("Lot", "lot", [...all, ...distinct(lot.wafers.map(([name]) => name))]),
    select("Wafer", "wafer", [...all, ...distinct(lot.wafers.map(([, name]) => name))]),
    select("Verdict", "verdict", [...all, ...STATUS.map((name) => [name, name]), ["outlier", "outlier"]]),
    select("Quantity", "by", lot.quantities.map((one) => [one.name, `${one.label} (${one.unit})`])),
  ];
  const status = make("p", { role: "status" });
  const scale = make("div", { class: "scale" });
  const maps = make("div", { class: "maps" });
  const choice = make("select", { id: "die-choice" });
  choice.addEventListener("change", () => { if (choice.value) choose(byKey.get(choice.value)); });
  const step = (by) => {
    const list = shownDies();
    const now = list.findIndex((die) => die.key === page.get("die"));
    if (list.length > 0) choose(list[now < 0 ? (by > 0 ? 0 : list.length - 1) : (now + by + list.length) % list.length]);
  };
  const worst = () => {
    const measured = shownDies().filter((die) => die.values.length > 0);
    const counted = measured.filter((die) => die.counts);
    const known = counted.length > 0 ? counted : measured;
    if (known.length > 0) choose(known.reduce((least, die) => (badness(die) > badness(least) ? die : least)));
  };
  const chooser = make("div", { class: "filters" }, make("label", { for: "die-choice" }, "Die"), choice, page.button("Previous", () => step(-1)), page.button("Next", () => step(1)), page.button("Worst of these", worst), page.button("No die", () => page.set({ die: "" }, true)));
  const panel = make("div", { class: "die", hidden: "", tabindex: "-1" });
  root.append(make("p", {}, "Choose a die in a map, or from the list: its requirements, its place among all, its curves and files appear below the maps. The address of this page then leads to the same view."), make("div", { class: "filters" }, ...fields.map((one) => one.label)), status, scale, maps, chooser, panel);

  const quantityAt = () => Math.max(0, lot.quantities.findIndex((one) => one.name === page.get("by")));
  // How far beyond good: larger is worse, for minimum and magnitude alike.
  const badness = (die, at = quantityAt()) => {
    const value = die.values[at];
    if (value === null || value === undefined) return lot.quantities[at].isMinimum ? -Infinity : Infinity;
    return lot.quantities[at].isMinimum ? -value : Math.abs(value);
  };
  const misses = (die, at) => {
    const { limit, isMinimum } = lot.quantities[at];
    const value = die.values[at];
    if (limit === null || die.values.length === 0) return false;
    if (value === null) return !isMinimum;
    return isMinimum ? value < limit : Math.abs(value) > limit;
  };
  const fits = (die) => {
    // As the fields show them: an address may name what this lot does not have.
    const [ownLot, wafer, verdict] = fields.map((one) => one.field.value);
    return (!ownLot || die.lotName === ownLot) && (!wafer || die.waferName === wafer)
      && (!verdict || (verdict === "outlier" ? die.isOutlier : STATUS[die.status] === verdict));
  };
  const shownDies = () => dies.filter(fits);
  const choose = (die) => { if (die) page.set({ die: die.key }, true); };

  const rangeOf = (at) => {
    const known = dies.filter((die) => die.counts).map((die) => die.values[at]).filter((value) => Number.isFinite(value)).sort((one, other) => one - other);
    if (known.length === 0) return [0, 1];
    // The colours are for the bulk of the dies: single ones beyond have the first or the last.
    const quantile = (share) => known[Math.round(share * (known.length - 1))];
    const [low, high] = [quantile(0.02), quantile(0.98)];
    return high > low ? [low, high] : [low - 0.5, high + 0.5];
  };
  const colourOf = (value, [low, high]) => COLOURS[Math.min(Math.max(Math.floor((value - low) / (high - low) * COLOURS.length), 0), COLOURS.length - 1)];

  // Strokes that mark a failing die, on dark colours, on light ones, and wider ones in the edge exclusion.
  const hatches = () => {
    const pattern = (name, size) => make("pattern", { id: name, width: size, height: size, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, make("path", { class: name, d: `M0,0V${size}` }));
    return make("svg", { width: 0, height: 0, "aria-hidden": "true", class: "unseen" }, make("defs", {}, pattern("hatch-light", 5), pattern("hatch-dark", 5), pattern("hatch-wide", 9)));
  };
  root.prepend(hatches());
  const hatchOf = (die, colour) => (die.isExcluded ? "hatch-wide" : COLOURS.indexOf(colour) < DARK ? "hatch-light" : "hatch-dark");

  const drawScale = (at, range, list) => {
    const { unit, limited, limit, sign } = lot.quantities[at];
    const width = (range[1] - range[0]) / COLOURS.length;
    const parts = COLOURS.map((colour, number) => {
      const box = make("i", { "aria-hidden": "true" });
      box.style.backgroundColor = colour;
      const [low, high] = [range[0] + number * width, range[0] + (number + 1) * width].map((value) => value.toFixed(2));
      const text = number === 0 ? `below ${high}` : number === COLOURS.length - 1 ? `${low} and above` : `${low} to ${high}`;
      return make("span", {}, box, `${text} ${unit}`);
    });
    if (limit !== null) parts.push(make("span", {}, `required: ${limited} ${sign} ${limit} ${unit}`));
    const shapes = (...own) => make("svg", { viewBox: "0 0 24 15", "aria-hidden": "true" }, make("rect", { x: 0.5, y: 0.5, width: 23, height: 14, fill: "#fff", stroke: "#6b7584" }), ...own);
    const area = (fill, more = {}) => make("rect", { x: 0.5, y: 0.5, width: 23, height: 14, fill, ...more });
    const drawn = list.filter((die) => !die.isSuperseded);
    const mark = (isThere, words, ...own) => { if (drawn.some(isThere)) parts.push(make("span", {}, own.length > 0 ? shapes(...own) : "", words)); };
    mark((die) => die.status === 1 && !die.isExcluded, "fails", area("url(#hatch-dark)"));
    lot.quantities.forEach((one, number) => mark((die) => die.missed.includes(number), `${one.code}: ${one.limited}`));
    if (lot.countedRadius !== null) parts.push(make("span", {}, shapes(make("path", { class: "ring", d: "M0,7.5H24" })), "limit of the edge exclusion"));
    mark((die) => die.isExcluded, "in it, not counted", area("#1d91c0", { opacity: ".4" }));
    mark((die) => die.status === 1 && die.isExcluded, "fails, in the edge exclusion", area("url(#hatch-wide)"));
    mark((die) => die.values.length === 0, "not measured", make("path", { class: "crossed", d: "M.5,.5L23.5,14.5M.5,14.5L23.5,.5" }));
    mark((die) => die.isOutlier, "outlier", area("none", { class: "outlier" }));
    mark((die) => die.isUndecided, "?: undecided");
    scale.replaceChildren(...parts);
  };

  // Places in a map, in millimetres or in dies, upright axis upwards, with room for the axes.
  const [AXIS_LEFT, AXIS_BELOW, MAP] = [36, 34, 400];
  const placesOf = (members) => {
    const [width, height] = lot.dieSize ?? [1, 1];
    const at = (die) => die.place ?? [die.x * width, die.y * height];
    const xs = members.map((die) => at(die)[0]);
    const ys = members.map((die) => at(die)[1]);
    const reach = lot.radius ?? 0;
    const [left, right] = [Math.min(-reach, Math.min(...xs) - width), Math.max(reach, Math.max(...xs) + width)];
    const [low, high] = [Math.min(-reach, Math.min(...ys) - height), Math.max(reach, Math.max(...ys) + height)];
    const unit = MAP / Math.max(right - left, high - low);
    const [x0, y0] = [AXIS_LEFT + 2, 2];
    const point = ([x, y]) => [x0 + (x - left) * unit, y0 + (high - y) * unit];
    return { unit, point, right: x0 + (right - left) * unit, bottom: y0 + (high - low) * unit,
      box: (die) => { const [x, y] = point(at(die)); return [x - width * unit / 2, y - height * unit / 2, width * unit, height * unit]; } };
  };
  const text = (x, y, words, size, more = {}) => make("text", { x: x.toFixed(1), y: y.toFixed(1), "text-anchor": "middle", "font-size": size, fill: "#1c2430", ...more }, words);
  // The numbers of the columns and rows of dies along the map, as many as have room.
  const axesOf = (members, places) => {
    const group = make("g", { class: "axis" });
    const numbers = (own, coordinate) => [...new Map(members.map((die) => { const box = places.box(die); return [die[own], box[coordinate] + box[coordinate + 2] / 2]; }))].sort(([one], [other]) => one - other);
    const [across, upright] = lot.isXUpright ? ["y", "x"] : ["x", "y"];
    const thin = (list, room) => {
      const pitch = list.length > 1 ? Math.abs(list[list.length - 1][1] - list[0][1]) / (list[list.length - 1][0] - list[0][0] || 1) : room;
      const step = [1, 2, 5, 10, 20, 50].find((one) => one * pitch >= room) ?? 100;
      return list.filter(([number]) => number % step === 0);
    };
    const named = (own) => (own === "x" ? "Die column x" : "Die row y");
    for (const [number, x] of thin(numbers(across, 0), 20)) group.append(text(x, places.bottom + 13, String(number), 11));
    for (const [number, y] of thin(numbers(upright, 1), 14)) group.append(text(AXIS_LEFT - 8, y + 4, String(number), 11));
    const middle = (places.bottom + 2) / 2;
    group.append(text((AXIS_LEFT + places.right) / 2, places.bottom + 28, named(across), 11), text(11, middle, named(upright), 11, { transform: `rotate(270, 11, ${middle.toFixed(1)})` }));
    return group;
  };
  const rimOf = (places) => {
    if (!lot.radius) return [];
    const [cx, cy] = places.point([0, 0]);
    const rim = [make("circle", { class: "edge", cx, cy, r: lot.radius * places.unit })];
    if (lot.countedRadius !== null) rim.push(make("circle", { class: "ring", cx, cy, r: lot.countedRadius * places.unit }));
    if (lot.notch) {
      // Larger than it is, to be seen.
      const [x, y] = places.point(lot.notch);
      const [inX, inY] = [(cx - x) * 0.045, (cy - y) * 0.045];
      rim.push(make("path", { class: "edge", d: `M${x - inY},${y + inX}L${x + inX},${y + inY}L${x + inY},${y - inX}` }));
    }
    return rim;
  };
  // The value in a die and the limits that it misses, where there is room.
  const wordsOf = (die, quantity, colour, [x, y, width, height]) => {
    const value = die.values[quantity];
    const size = Math.min(width / 3.4, height / 2.9, 11);
    const codes = die.missed.map((at) => lot.quantities[at].code).join("") + (die.isUndecided ? "?" : "");
    if (size < 5.5) return [];
    const ink = COLOURS.indexOf(colour) < DARK && !die.isExcluded ? "#fff" : "#000";
    const lines = [[value === null || value === undefined ? "" : value.toFixed(Math.abs(value) < 10 ? 2 : 1), "value"], [codes, "code"]].filter(([words]) => words);
    const [cx, cy] = [x + width / 2, y + height / 2];
    const made = lines.map(([words, kind], at) => text(cx, cy + size * (0.36 + 1.1 * (at - (lines.length - 1) / 2)), words, size.toFixed(1), { fill: ink, class: kind }));
    if (die.status !== 1) return made;
    const back = make("rect", { class: "back", x: cx - size * 1.45, y: cy - size * 0.62 * lines.length, width: size * 2.9, height: size * 1.24 * lines.length, fill: die.isExcluded ? "#fff" : colour });
    return [back, ...made];
  };
  let drawnMaps = [];
  const drawMap = (wafer, quantity, range) => {
    const members = dies.filter((die) => die.wafer === wafer && !die.isSuperseded);
    const places = placesOf(members);
    const [lotName, waferName] = lot.wafers[wafer];
    const svg = make("svg", { viewBox: `0 0 ${(places.right + 2).toFixed(1)} ${(places.bottom + AXIS_BELOW).toFixed(1)}`, "aria-hidden": "true" });
    const rects = new Map();
    const marks = make("g", {});
    const frames = make("g", {});
    for (const die of members) {
      const box = places.box(die).map((value) => Number(value.toFixed(2)));
      const [x, y, width, height] = box;
      const value = die.values[quantity];
      const rect = make("rect", { x, y, width, height });
      const colour = value === null || value === undefined ? COLOURS[COLOURS.length - 1] : colourOf(value, range);
      if (die.values.length === 0) rect.setAttribute("class", "gone");
      else rect.setAttribute("fill", colour);
      if (!fits(die)) rect.setAttribute("opacity", ".08");
      else if (die.isExcluded && die.values.length > 0) rect.setAttribute("opacity", ".4");
      rects.set(rect, die);
      svg.append(rect);
      if (!fits(die)) continue;
      if (die.values.length === 0) marks.append(make("path", { class: "crossed", d: `M${x},${y}l${width},${height}m0,${-height}l${-width},${height}` }));
      if (die.status === 1) marks.append(make("rect", { x, y, width, height, fill: `url(#${hatchOf(die, colour)})` }));
      if (die.values.length > 0) marks.append(...wordsOf(die, quantity, colour, box));
      if (die.isOutlier) frames.append(make("rect", { class: "outlier", x, y, width, height }));
    }
    const frame = make("g", {});
    svg.append(marks, frames, ...rimOf(places), axesOf(members, places), frame);
    svg.addEventListener("click", (event) => choose(rects.get(event.target)));
    const tested = members.filter((die) => die.counts);
    const failing = tested.filter((die) => die.status === 1).length;
    const result = `${failing} of ${diesText(tested.length)} ${failing === 1 && tested.length === 1 ? "fails" : "fail"}.`;
    const figure = make("figure", { class: "map", tabindex: "0", role: "group", "aria-label": `Map of wafer ${lotName} ${waferName}: ${result} Arrow keys move to the die beside.` },
      make("h3", {}, `Wafer ${lotName} ${waferName}`), svg, make("figcaption", {}, `${lot.quantities[quantity].label} of each die (${lot.quantities[quantity].unit}). ${result}`));
    figure.addEventListener("keydown", (event) => {
      const towards = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!towards || event.ctrlKey || event.altKey || event.metaKey) return;
      event.preventDefault();
      const now = byKey.get(page.get("die"));
      const from = now && now.wafer === wafer ? now : null;
      const next = from ? beside(from, towards, members.filter(fits), places) : members.filter(fits)[0];
      choose(next);
    });
    const mark = (die) => {
      frame.replaceChildren();
      if (!die || die.wafer !== wafer) return;
      const [x, y, width, height] = places.box(die);
      frame.append(make("rect", { x, y, width, height, class: "chosen" }), make("rect", { x, y, width, height, class: "chosen-inner" }));
    };
    return { figure, mark };
  };
  // The nearest die in a direction; a die aside counts as three times as far.
  const beside = (from, [dx, dy], members, places) => {
    const [x, y] = places.box(from);
    let found = null;
    let least = Infinity;
    for (const die of members) {
      const [ownX, ownY] = places.box(die);
      const along = (ownX - x) * dx + (ownY - y) * dy;
      const aside = Math.abs((ownX - x) * dy) + Math.abs((ownY - y) * dx);
      if (along > 1e-6 && along + 3 * aside < least) { least = along + 3 * aside; found = die; }
    }
    return found;
  };

  const table = (caption, head, rows) => make("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": caption },
    make("table", {}, make("caption", {}, caption), make("thead", {}, make("tr", {}, ...head.map((text) => make("th", { scope: "col" }, text)))),
      make("tbody", {}, ...rows.map((cells) => make("tr", {}, ...cells.map((text) => make("td", {}, text)))))));
  const unitValue = (value, unit) => `${page.shown(value)} ${unit}`;

  // The order among the counted dies, the worst first, and their histogram.
  const histogram = (die, at) => {
    const quantity = lot.quantities[at];
    const known = dies.filter((one) => one.counts && Number.isFinite(one.values[at])).map((one) => one.values[at]);
    const own = die.values[at];
    if (known.length < 2 || !Number.isFinite(own)) return null;
    let [low, high] = [Math.min(...known, own), Math.max(...known, own)];
    if (!(high > low)) { low -= 0.5; high += 0.5; }
    const bins = Math.max(8, Math.min(40, Math.ceil(Math.sqrt(known.length))));
    const counts = new Array(bins).fill(0);
    const binOf = (value) => Math.min(bins - 1, Math.floor((value - low) / (high - low) * bins));
    for (const value of known) counts[binOf(value)] += 1;
    const most = Math.max(...counts);
    const [left, right, top, bottom] = [60, 780, 20, 250];
    const x = (value) => left + (value - low) / (high - low) * (right - left);
    const described = `Histogram of ${quantity.label.toLowerCase()} of ${known.length} counted dies, from ${unitValue(low, quantity.unit)} to ${unitValue(high, quantity.unit)}; this die has ${unitValue(own, quantity.unit)}.`;
    const svg = make("svg", { viewBox: "0 0 800 310", role: "img", "aria-label": described });
    counts.forEach((count, bin) => {
      const width = (right - left) / bins;
      svg.append(make("rect", { x: left + bin * width + 1, y: bottom - count / most * (bottom - top), width: width - 2, height: count / most * (bottom - top), fill: bin === binOf(own) ? "#1c2430" : "#8fa3b8" }));
    });
    const label = (px, py, words, anchor = "middle") => text(px, py, words, 20, { "text-anchor": anchor });
    svg.append(make("line", { x1: left, x2: right, y1: bottom, y2: bottom, stroke: "#1c2430", "stroke-width": 1.5 }), label(left, bottom + 24, page.shown(low), "start"), label(right, bottom + 24, page.shown(high), "end"), label((left + right) / 2, bottom + 50, `${quantity.label} (${quantity.unit})`), label(left - 8, top + 12, String(most), "end"));
    const limits = quantity.limit === null ? [] : quantity.isMinimum ? [quantity.limit] : [quantity.limit, -quantity.limit];
    for (const limit of limits) {
      if (limit > low && limit < high) svg.append(make("line", { x1: x(limit), x2: x(limit), y1: top - 10, y2: bottom, stroke: "#D55E00", "stroke-width": 3, "stroke-dasharray": "10 6" }));
    }
    svg.append(make("path", { d: `M${x(own)},${bottom + 2}l-8,14h16z`, fill: "#1c2430" }));
    return make("figure", { class: "bars" }, make("h4", {}, "Place among all dies"), svg, make("figcaption", {}, `${described} Dark bar and mark: this die. Dashed: limit.`));
  };
  const rankOf = (die, at) => {
    const known = dies.filter((one) => one.counts && one.values.length > 0);
    const worse = known.filter((one) => badness(one, at) > badness(die, at)).length;
    return die.counts ? `${worse + 1} of ${known.length}` : "not counted";
  };

  const curvesOf = (die) => {
    const curve = lot.curves[die.at];
    if (!curve) return null;
    const xs = curve[0] === 0 ? lot.frequencies : curve[0].map((place) => lot.frequencies[place]);
    const x = [lot.frequencies[0], lot.frequencies[lot.frequencies.length - 1]];
    if (!(x[1] > x[0])) return null;
    const wanted = [[0, lot.quantities[0], curve[1]]];
    if (curve.length > 2) wanted.push([1, lot.quantities[1], curve[2]], [2, lot.quantities[2], curve[3]]);
    return wanted.map(([number, quantity, y]) => {
      const series = [{ name: `die ${die.x}, ${die.y}`, colour: "#0072B2", width: 30, dashes: null, across: false, x: xs, y }];
      const lines = quantity.limit === null ? [] : quantity.isMinimum ? [quantity.limit] : [quantity.limit, -quantity.limit];
      const values = [...y.filter((value) => value !== null), ...lines];
      for (const limit of lines) series.push({ name: "limit", colour: "#D55E00", width: 30, dashes: "150 90", across: true, x, y: [limit, limit] });
      const bands = [];
      if (number === 0 && lot.bands.length > 1) {
        const column = (at) => lot.bands.map((band) => band[at]);
        series.unshift({ name: "median of the lot", colour: "#6E6E6E", width: 20, dashes: "40 40", across: false, x: column(0), y: column(2) });
        bands.push({ x: column(0), low: column(1), high: column(3) });
        values.push(...column(1), ...column(3));
      }
      let [low, high] = [Math.min(...values), Math.max(...values)];
      const room = 0.06 * (high - low || 1);
      return { title: "", xLabel: lot.axis, yLabel: `${quantity.label} (${quantity.unit})`, x, y: [low - room, high + room], frame: [1200, 0, 15700, 0], series, bands };
    });
  };
  const curveFigure = (die, charts) => {
    const share = charts.length === 1 ? 6000 : 4000;
    charts.forEach((chart, at) => { chart.frame[1] = 150 + at * share; chart.frame[3] = (at + 1) * share - 750; });
    const low = Math.min(...charts[0].series.find((one) => one.name.startsWith("die")).y.filter((value) => value !== null));
    const described = `Curves of die ${die.name}. Minimum ${lot.quantities[0].label.toLowerCase()} ${unitValue(die.values[0], lot.quantities[0].unit)} at ${page.shown(die.worstAt)} GHz; minimum of the curve ${unitValue(low, lot.quantities[0].unit)}.`;
    const notes = [lot.worstIf ? "At the worst IF of each LO." : "", lot.bands.length > 1 ? "Shaded: 5 to 95 % of the counted dies." : "", lot.thinned ? "The curve is thinned: minimum and maximum of every stretch are kept." : ""];
    const svg = make("svg", { viewBox: `0 0 16000 ${share * charts.length}`, role: "img", "aria-label": described, "font-family": "'DejaVu Sans', Verdana, sans-serif" });
    return make("figure", { id: "die-curves" }, make("h4", {}, "Curves"), make("div", { class: "plot" }, svg), make("figcaption", {}, [described, ...notes].filter(Boolean).join(" ")));
  };

  let shown = null;
  const showDie = (die, quantity) => {
    const view = `${die?.key} ${quantity}`;
    if (view === shown) return;
    shown = view;
    const former = document.getElementById("die-curves");
    if (former) page.pictures.remove(former);
    panel.replaceChildren();
    panel.hidden = !die;
    if (!die) return;
    panel.setAttribute("role", "region");
    panel.setAttribute("aria-labelledby", "die-heading");
    const notes = [die.isExcluded ? "in the edge exclusion, not counted" : "", die.isSuperseded ? "superseded by another measurement, not counted" : "", die.isOutlier ? "an outlier of its wafer" : ""].filter(Boolean);
    const verdict = `${STATUS[die.status].toUpperCase()}${notes.length ? `; ${notes.join(", ")}` : ""}.`;
    panel.append(make("h3", { id: "die-heading" }, `Die ${die.name}`), make("p", {}, make("strong", {}, verdict), die.message && die.values.length === 0 ? ` ${die.message}` : ""));
    if (die.decision) panel.append(make("p", {}, `Within the uncertainty of its files: ${die.decision[0]}, probability of conformity ${page.shown(100 * die.decision[1])} %.`));
    if (die.warnings) panel.append(make("p", { class: "warning" }, make("strong", {}, "Warning: "), die.warnings));
    if (die.values.length > 0) {
      const rows = lot.quantities.map((one, at) => {
        const required = one.limit === null ? "no limit" : `${one.sign} ${one.limit} ${one.unit}`;
        const decision = one.limit === null ? "" : misses(die, at) ? "FAIL" : "PASS";
        const place = at === 0 ? `${page.shown(die.worstAt)} GHz${die.worstIf === null ? "" : `, IF ${page.shown(die.worstIf)} GHz`}` : "";
        return [one.limit === null ? one.label : one.limited.replace(/[a-z]/i, (letter) => letter.toUpperCase()), required, unitValue(die.values[at], one.unit), place, decision, rankOf(die, at)];
      });
      const first = die.missed.length > 0 ? `Limit missed by the largest share of the limit: ${lot.quantities[die.missed[0]].limited}.` : "";
      panel.append(table("Requirements on this die", ["Quantity", "Required", "Worst", "At", "Decision", "Order, 1 is the worst"], rows));
      if (first) panel.append(make("p", {}, first));
    }
    const charts = die.values.length > 0 ? curvesOf(die) : null;
    const bars = die.values.length > 0 ? histogram(die, quantity) : null;
    if (charts) {
      const figure = curveFigure(die, charts);
      panel.append(figure);
      page.pictures.add(figure, charts);
    }
    if (bars) panel.append(bars);
    const given = [["line of the list", String(die.line)], ...lot.files.map((name, at) => [name, die.files[at]]), ...lot.carried.map((name, at) => [name, die.carried[at]])].filter(([, value]) => value);
    panel.append(table("Files and further columns of the list", ["Column", "Value"], given));
    for (const scrolls of panel.querySelectorAll(".scroll, .plot")) page.watch(scrolls);
  };

  let before = null;
  const follow = () => {
    const quantity = quantityAt();
    for (const { key, field, options } of fields) {
      const value = page.get(key);
      field.value = options.some(([own]) => own === value) ? value : options[0][0];
    }
    const now = [...fields.map((one) => one.field.value), quantity].join("\u001f");
    if (now !== before) {
      before = now;
      const list = shownDies();
      const count = (status) => list.filter((die) => die.counts && die.status === status).length;
      status.textContent = `${list.length} of ${dies.length === 1 ? "1 row" : `${dies.length} rows`}: of those that count, ${count(0)} pass and ${count(1)} fail.`;
      const range = rangeOf(quantity);
      drawScale(quantity, range, list);
      const wafers = [...new Set(list.map((die) => die.wafer))];
      drawnMaps = wafers.slice(0, MOST_MAPS).map((wafer) => drawMap(wafer, quantity, range));
      maps.replaceChildren(...drawnMaps.map((map) => map.figure));
      maps.classList.toggle("is-one", drawnMaps.length === 1);
      if (wafers.length > MOST_MAPS) status.textContent += ` Maps of the first ${MOST_MAPS} of ${wafers.length} wafers; choose a lot or a wafer for others.`;
      const options = list.slice(0, MOST_OPTIONS).map((die) => make("option", { value: die.key }, `${die.name}: ${STATUS[die.status]}`));
      choice.replaceChildren(make("option", { value: "" }, list.length > MOST_OPTIONS ? `first ${MOST_OPTIONS} of ${list.length} rows` : "none chosen"), ...options);
    }
    const die = byKey.get(page.get("die"));
    choice.value = die ? die.key : "";
    if (choice.selectedIndex < 0) choice.value = "";
    drawnMaps.forEach((map) => map.mark(die));
    showDie(die, quantity);
  };
  // Names of dies become links to the detail of the die; the address of such a link is the view itself.
  const linked = (die, ...content) => {
    const link = make("a", { href: `#${new URLSearchParams({ die: die.key })}` }, ...content);
    link.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey || event.button !== 0) return;
      event.preventDefault();
      choose(die);
      panel.focus({ preventScroll: true });
      panel.scrollIntoView({ block: "start" });
    });
    return link;
  };
  for (const place of document.querySelectorAll("[data-die]")) {
    const die = byKey.get(place.dataset.die);
    if (!die) continue;
    if (place.localName === "td") place.replaceChildren(linked(die, ...place.childNodes));
    else place.append(make("span", { class: "linked" }, " ", linked(die, `Show ${die.name}`)));
  }
  page.listen(follow);
  follow();
  // A link from elsewhere leads to the die at once.
  if (shown && page.get("die") && !panel.hidden) panel.scrollIntoView({ block: "start" });
})();
