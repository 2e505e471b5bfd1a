// Values of a chart under the pointer, a tap or the arrow keys. The page is whole without it.
"use strict";
(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const box = document.createElement("div");
  box.className = "reading";
  box.hidden = true;
  document.body.append(box);

  function mark(svg, name, attributes) {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    element.setAttribute("class", "mark");
    svg.append(element);
    return element;
  }

  function table(data, i) {
    const parts = [Object.assign(document.createElement("strong"), { textContent: data.rows[i] })];
    data.columns.forEach((column, j) => {
      const line = document.createElement("span");
      const value = Object.assign(document.createElement("b"), { textContent: data.cells[j][i] });
      line.append(`${column} `, value);
      parts.push(line);
    });
    return parts;
  }

  document.querySelectorAll("figure[data-readings]").forEach((figure) => {
    const data = JSON.parse(figure.dataset.readings);
    const svg = figure.querySelector("svg");
    const plot = figure.querySelector(".plot");
    const spoken = document.createElement("p");
    const [left, top, width, height] = data.box;
    const n = data.rows.length;
    if (!n || !data.columns.length) return;
    let at = -1;
    let drawn = null;

    spoken.className = "spoken";
    spoken.setAttribute("aria-live", "polite");
    figure.append(spoken);
    plot.tabIndex = 0;
    plot.setAttribute("role", "group");
    plot.setAttribute("aria-label", `${plot.dataset.title}: values by arrow keys`);

    function hide() {
      if (drawn) drawn.remove();
      drawn = null;
      at = -1;
      box.hidden = true;
    }

    function show(i, speak) {
      if (i === at) return;
      if (drawn) drawn.remove();
      at = i;
      const x = data.x ? data.x[i] : null;
      const y = data.y ? data.y[i] : null;
      if (x !== null && y !== null) drawn = mark(svg, "circle", { cx: x, cy: y, r: 9 });
      else if (x !== null) drawn = mark(svg, "path", { d: `M${x} ${top}v${height}` });
      else drawn = mark(svg, "path", { d: `M${left} ${y}h${width}` });
      box.replaceChildren(...table(data, i));
      box.hidden = false;
      const place = svg.getBoundingClientRect();
      const scale = place.width / svg.viewBox.baseVal.width;
      const across = place.left + (x === null ? left + width / 2 : x) * scale;
      const right = across + 14 + box.offsetWidth < document.documentElement.clientWidth;
      const start = right ? across + 14 : Math.max(4, across - 14 - box.offsetWidth);
      const over = place.top + (y === null ? top : y) * scale;
      box.style.left = `${start + window.scrollX}px`;
      box.style.top = `${Math.max(0, over + window.scrollY - (y === null ? 0 : box.offsetHeight + 8))}px`;
      if (speak) {
        const values = data.columns.map((column, j) => `${column} ${data.cells[j][i]}`);
        spoken.textContent = `${data.rows[i]}: ${values.join("; ")}`;
      }
    }

    function nearest(event) {
      const place = svg.getBoundingClientRect();
      const scale = svg.viewBox.baseVal.width / place.width;
      const x = (event.clientX - place.left) * scale;
      const y = (event.clientY - place.top) * scale;
      let best = 0;
      let least = Infinity;
      for (let i = 0; i < n; i += 1) {
        const far = (data.x ? (data.x[i] - x) ** 2 : 0) + (data.y ? (data.y[i] - y) ** 2 : 0);
        if (far < least) [best, least] = [i, far];
      }
      return best;
    }

    const steps = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1, PageDown: 10, PageUp: -10 };
    plot.addEventListener("pointermove", (event) => show(nearest(event), false));
    plot.addEventListener("pointerdown", (event) => show(nearest(event), false));
    plot.addEventListener("pointerleave", (event) => event.pointerType === "mouse" && hide());
    plot.addEventListener("blur", hide);
    plot.addEventListener("keydown", (event) => {
      if (event.key === "Escape") hide();
      else if (event.key === "Home") show(0, true);
      else if (event.key === "End") show(n - 1, true);
      else if (event.key in steps) {
        const next = at < 0 ? 0 : at + steps[event.key];
        show(Math.min(n - 1, Math.max(0, next)), true);
      } else return;
      event.preventDefault();
    });
  });
})();
