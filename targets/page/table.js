(() => {
  "use strict";
  const table = document.querySelector("table[data-fleet]");
  if (!table) return;
  const body = table.tBodies[0], rows = [...body.rows], heads = [...table.tHead.rows[0].cells];
  const cells = rows.map((row) => [...row.cells].map((cell) => cell.textContent.trim()));
  const lower = cells.map((row) => row.join(" ").toLowerCase());
  const tools = document.querySelector("[data-tools]");
  const search = tools.querySelector("input"), select = tools.querySelector("select"), said = tools.querySelector("[role=status]");
  const limit = heads.findIndex((head) => head.hasAttribute("data-limit"));
  for (const text of [...new Set(cells.map((row) => row[limit]))].sort()) select.append(new Option(text, text));
  const order = rows.map((_, k) => k);
  const number = (text) => /^-?[0-9.]/.test(text) ? parseFloat(text) : NaN;
  const compare = (a, b) => {
    const x = number(a), y = number(b);
    return Number.isNaN(x) || Number.isNaN(y) ? a.localeCompare(b, "en", { numeric: true }) : x - y;
  };
  const draw = () => {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    const shown = order.filter((k) => words.every((word) => lower[k].includes(word)) && (!select.value || cells[k][limit] === select.value));
    body.replaceChildren(...shown.map((k) => rows[k]));
    said.textContent = shown.length + " of " + rows.length + " machines shown";
  };
  heads.forEach((head, at) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      for (const other of heads) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      order.sort((a, b) => (down ? -1 : 1) * compare(cells[a][at], cells[b][at]) || a - b);
      draw();
    });
  });
  search.addEventListener("input", draw);
  select.addEventListener("change", draw);
  tools.hidden = false;
  draw();
})();
