"use strict";
// Readings speak: the one nearest to the pointer, or the next one on an arrow key, is ringed and read out.
// Without this script every reading still says the same when a pointer rests on it.
for (const chart of document.querySelectorAll("svg.flow")) {
  const output = chart.parentElement.querySelector("output");
  const number = (mark, name) => Number(mark.getAttribute(name));
  const readings = [...chart.querySelectorAll(".point")].map((mark) => {
    const title = mark.querySelector("title");
    title.remove(); // else the browser would say it twice
    const round = mark.localName === "circle";
    return {
      mark,
      line: mark.parentElement,
      said: title.textContent,
      x: round ? number(mark, "cx") : number(mark, "x") + number(mark, "width") / 2,
      y: round ? number(mark, "cy") : number(mark, "y") + number(mark, "height") / 2,
    };
  });
  const ring = document.createElementNS(chart.namespaceURI, "circle");
  ring.setAttribute("class", "ring");
  ring.setAttribute("r", "8");
  chart.append(ring);
  let chosen = null;

  const isSeen = (reading) => reading.mark.getClientRects().length > 0;
  const choose = (reading) => {
    if (reading === chosen) return;
    chosen = reading ?? null;
    output.textContent = chosen ? chosen.said : output.dataset.hint;
    ring.style.visibility = chosen ? "visible" : "hidden";
    if (!chosen) return;
    ring.setAttribute("cx", chosen.x);
    ring.setAttribute("cy", chosen.y);
  };
  const nearest = (among, x, y) => {
    const far = (reading) => (reading.x - x) ** 2 + (reading.y - y) ** 2;
    return among.reduce((best, one) => (best && far(best) <= far(one) ? best : one), null);
  };
  const point = (event) => {
    const box = chart.getBoundingClientRect();
    const scale = chart.viewBox.baseVal.width / box.width;
    const seen = readings.filter(isSeen);
    choose(nearest(seen, (event.clientX - box.left) * scale, (event.clientY - box.top) * scale));
  };
  const steps = {
    ArrowRight: (one) => one.line === chosen.line && one.x > chosen.x,
    ArrowLeft: (one) => one.line === chosen.line && one.x < chosen.x,
    ArrowUp: (one) => one.line !== chosen.line && one.y < chosen.y && Math.abs(one.x - chosen.x) < 20,
    ArrowDown: (one) => one.line !== chosen.line && one.y > chosen.y && Math.abs(one.x - chosen.x) < 20,
  };
  const press = (event) => {
    if (event.key === "Escape") return choose(null);
    if (!(event.key in steps)) return;
    event.preventDefault();
    const seen = readings.filter(isSeen);
    if (!chosen || !isSeen(chosen)) return choose(seen.at(-1));
    const next = nearest(seen.filter(steps[event.key]), chosen.x, chosen.y);
    if (next) choose(next);
  };

  output.textContent = output.dataset.hint;
  chart.setAttribute("tabindex", "0");
  chart.setAttribute("role", "application");
  chart.setAttribute("aria-roledescription", "chart");
  chart.addEventListener("pointermove", point);
  chart.addEventListener("pointerdown", point);
  chart.addEventListener("keydown", press);
  document.addEventListener("change", () => chosen && !isSeen(chosen) && choose(null));
}
addEventListener("beforeprint", () => {
  for (const part of document.querySelectorAll("details")) part.open = true;
});
