// Tables that sort and filter.
(() => {
  const { make } = page;
  const numberIn = (text) => {
    const found = text.match(/-?(?:\d[\d.]*(?:e[+-]?\d+)?|inf)/);
    return found ? Number(found[0].replace("inf", "Infinity")) : null;
  };
  const tables = new Map();
  const sort = (table, column, isAscending) => {
    const header = table.tHead.rows[0].cells[column];
    const isNumber = header.classList.contains("n");
    const key = (row) => row.cells[column].textContent;
    const rows = [...table.tBodies[0].rows].map((row) => [isNumber ? numberIn(key(row)) : key(row), row]);
    const order = (one, other) => {
      if (!isNumber) return one.localeCompare(other, "en", { numeric: true });
      if (one === null || other === null) return Number(one === null) - Number(other === null);
      return one < other ? -1 : Number(one > other);
    };
    // Rows without a value stay last either way.
    rows.sort(([one], [other]) => {
      const isMissing = isNumber && (one === null || other === null);
      return order(one, other) * (isAscending || isMissing ? 1 : -1);
    });
    table.tBodies[0].append(...rows.map(([, row]) => row));
    for (const cell of table.tHead.rows[0].cells) cell.removeAttribute("aria-sort");
    header.setAttribute("aria-sort", isAscending ? "ascending" : "descending");
  };
  for (const table of document.querySelectorAll("table[id]")) {
    if (!table.tHead || table.tBodies[0].rows.length < 2) continue;
    tables.set(table.id, table);
    [...table.tHead.rows[0].cells].forEach((header, column) => {
      const act = () => {
        const isAscending = header.getAttribute("aria-sort") !== "ascending";
        page.set({ sort: [table.id, column, isAscending ? "up" : "down"].join(" ") });
      };
      header.replaceChildren(page.button(header.textContent, act));
    });
    if (!table.hasAttribute("data-filter")) continue;
    const field = make("input", { type: "search", autocomplete: "off" });
    const count = make("output", {});
    field.addEventListener("input", () => {
      const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
      let shown = 0;
      for (const row of table.tBodies[0].rows) {
        const text = row.textContent.toLowerCase();
        const fits = words.every((word) => text.includes(word));
        row.hidden = !fits;
        shown += Number(fits);
      }
      count.textContent = `${shown} of ${table.tBodies[0].rows.length} rows`;
    });
    const label = make("label", {}, `Rows of "${table.caption.firstChild.textContent.trim()}" that contain `, field);
    table.parentElement.before(make("div", { class: "controls" }, label, count));
  }
  let before = "";
  const follow = () => {
    const now = page.get("sort");
    if (now === before) return;
    before = now;
    const [id, column, way] = now.split(" ");
    const table = tables.get(id);
    if (table && Number(column) < table.tHead.rows[0].cells.length) sort(table, Number(column), way === "up");
  };
  page.listen(follow);
  follow();
  for (const scrolls of document.querySelectorAll(".scroll, .plot")) page.watch(scrolls);
})();
