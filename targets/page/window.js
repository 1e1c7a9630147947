(() => {
  "use strict";
  for (const figure of document.querySelectorAll("[data-window]")) {
    const data = JSON.parse(figure.querySelector("script[type='application/json']").textContent);
    const svg = figure.querySelector("svg"), reader = figure.querySelector(".reader");
    const [across, up] = reader.querySelectorAll("input");
    const [acrossSaid, upSaid] = reader.querySelectorAll(".at");
    const output = reader.querySelector("output"), back = reader.querySelector("button");
    const mark = document.createElementNS("http://www.w3.org/2000/svg", "path");
    mark.setAttribute("class", "cross");
    svg.append(mark);
    const named = (text, unit) => unit ? text + " " + unit : text;
    const show = () => {
      const i = +across.value, j = +up.value, k = j * data.across.length + i;
      const x = data.x[i], y = data.y[j];
      const at = [named(data.across[i], data.units[0]), named(data.up[j], data.units[1])];
      acrossSaid.textContent = at[0];
      upSaid.textContent = at[1];
      across.setAttribute("aria-valuetext", at[0]);
      up.setAttribute("aria-valuetext", at[1]);
      mark.setAttribute("d", `M${x - 9} ${y}H${x + 9}M${x} ${y - 9}V${y + 9}`);
      const missed = data.missed[k];
      const head = missed ? (missed === 1 ? "One requirement is missed." : missed + " requirements are missed.") : "All requirements hold.";
      const list = document.createElement("ul");
      data.nearest[k].forEach((word, n) => {
        const [number, text] = data.words[word], tenths = data.tenths[k][n];
        const item = document.createElement("li");
        item.textContent = (tenths < 0 ? "missed by " + (-tenths / 10) : (tenths / 10) + " % to spare").replace(/^(missed.*)$/, "$1 %") + ": " + (number ? "(" + number + ") " : "") + text;
        list.append(item);
      });
      output.replaceChildren(head, list);
    };
    const nearest = (places, at) => places.reduce((best, place, k) => Math.abs(place - at) < Math.abs(places[best] - at) ? k : best, 0);
    const start = () => { across.value = data.start[0]; up.value = data.start[1]; show(); };
    across.max = data.across.length - 1;
    up.max = data.up.length - 1;
    across.addEventListener("input", show);
    up.addEventListener("input", show);
    back.addEventListener("click", start);
    const follow = (event) => {
      const box = svg.getBoundingClientRect(), scale = svg.viewBox.baseVal.width / box.width;
      across.value = nearest(data.x, (event.clientX - box.left) * scale);
      up.value = nearest(data.y, (event.clientY - box.top) * scale);
      show();
    };
    svg.addEventListener("pointermove", follow);
    svg.addEventListener("pointerdown", follow);
    reader.hidden = false;
    start();
  }
})();
