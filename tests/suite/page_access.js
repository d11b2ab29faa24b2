// What a person without sight, without a mouse or with weak eyes would miss on the page, as sentences.
(() => {
  const found = [];
  const seen = (element) => element.getClientRects().length > 0 && getComputedStyle(element).visibility !== "hidden";
  const nameOf = (element) => {
    const by = element.getAttribute("aria-labelledby");
    if (by) return by.split(/\s+/).map((id) => document.getElementById(id)?.textContent ?? "").join(" ").trim();
    const label = element.getAttribute("aria-label");
    if (label) return label.trim();
    if (element.labels?.length) return [...element.labels].map((one) => one.textContent).join(" ").trim();
    return element.textContent.trim();
  };
  if (document.documentElement.lang !== "en") found.push("no language");
  if (!document.title) found.push("no title");
  if (document.querySelectorAll("main").length !== 1 || document.querySelectorAll("h1").length !== 1) found.push("not one main and one h1");
  let level = 0;
  for (const heading of document.querySelectorAll("h1, h2, h3, h4, h5, h6")) {
    if (!seen(heading)) continue;
    const own = Number(heading.localName[1]);
    if (own > level + 1) found.push(`heading "${heading.textContent}" of level ${own} after ${level}`);
    if (!heading.textContent.trim()) found.push("an empty heading");
    level = own;
  }
  const ids = new Set();
  for (const element of document.querySelectorAll("[id]")) {
    if (ids.has(element.id)) found.push(`id ${element.id} twice`);
    ids.add(element.id);
  }
  for (const element of document.querySelectorAll("[aria-labelledby], [aria-describedby], label[for], a[href^='#']")) {
    for (const kind of ["aria-labelledby", "aria-describedby", "for", "href"]) {
      const value = element.getAttribute(kind);
      // What holds "=" is a view of the page, not a place in it.
      if (kind === "href" && (!value?.startsWith("#") || value.includes("="))) continue;
      for (const id of (value ?? "").replace(/^#/, "").split(/\s+/).filter(Boolean)) if (!document.getElementById(id)) found.push(`${kind} names ${id}, which is not there`);
    }
  }
  for (const element of document.querySelectorAll("a, button, input, select, summary, [role=region], [role=group], [role=img], nav, [tabindex='0'], figure > svg, figure .plot > svg")) {
    if (!seen(element) || element.getAttribute("aria-hidden") === "true") continue;
    if (!nameOf(element)) found.push(`no name: ${element.outerHTML.slice(0, 120)}`);
    if (element.getAttribute("role") === "img" && !/\d/.test(nameOf(element)) && !/values/.test(nameOf(element))) found.push(`a picture without its result: ${nameOf(element)}`);
  }
  // What scrolls must be reached by keyboard.
  for (const element of document.querySelectorAll("body *")) {
    if (!seen(element) || element.closest("svg")) continue;
    const style = getComputedStyle(element);
    if (["auto", "scroll"].includes(style.overflowX) && element.scrollWidth > element.clientWidth + 1 && element.tabIndex < 0 && !element.querySelector("a, button, input, select, [tabindex='0']")) found.push(`scrolls without a keyboard: ${element.outerHTML.slice(0, 120)}`);
    if (["button", "select", "input", "summary"].includes(element.localName)) {
      const box = element.getBoundingClientRect();
      const target = element.closest("label")?.getBoundingClientRect() ?? box;
      if (Math.max(box.height, target.height) < 23.5 || Math.max(box.width, target.width) < 23.5) found.push(`a target below 24 pixels: ${element.outerHTML.slice(0, 120)}`);
    }
  }
  for (const table of document.querySelectorAll("table")) {
    if (!table.caption?.textContent.trim()) found.push("a table without caption");
    for (const cell of table.querySelectorAll("th")) if (!cell.scope) found.push("a header without scope");
  }
  // WCAG 2.2, relative luminance and contrast ratio.
  const parts = (colour) => { const [r, g, b, a = 1] = colour.match(/[\d.]+/g).map(Number); return [r, g, b, a]; };
  const luminance = ([r, g, b]) => {
    const linear = [r, g, b].map((value) => { const share = value / 255; return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4; });
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2];
  };
  const behind = (element) => {
    for (let one = element; one; one = one.parentElement) {
      const own = parts(getComputedStyle(one).backgroundColor);
      if (own[3] > 0.99) return own;
    }
    return [255, 255, 255, 1];
  };
  let least = 21;
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walk.nextNode(); node; node = walk.nextNode()) {
    const element = node.parentElement;
    if (!node.data.trim() || ["SCRIPT", "STYLE"].includes(element.nodeName) || !seen(element)) continue;
    const style = getComputedStyle(element);
    const isShape = element.namespaceURI.endsWith("svg");
    if (isShape && ["title", "desc"].includes(element.localName)) continue;
    const [one, other] = [luminance(parts(isShape ? style.fill : style.color)), luminance(behind(isShape ? element.ownerSVGElement.parentElement : element))];
    const ratio = (Math.max(one, other) + 0.05) / (Math.min(one, other) + 0.05);
    const size = Number.parseFloat(style.fontSize) * (isShape ? element.getScreenCTM().a : 1);
    const isLarge = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    // White words stand on coloured cells of maps, which are no background of theirs.
    if (isShape && one > 0.9) continue;
    least = Math.min(least, ratio);
    if (ratio < (isLarge ? 3 : 4.5)) found.push(`contrast ${ratio.toFixed(2)} of "${node.data.trim().slice(0, 40)}"`);
  }
  return { found: [...new Set(found)], least };
})()
