"use strict";
// Values under the pointer, a legend that switches curves, causes that mark their part. Without it the page is whole.
const PREFIXES = [[1e9, "G"], [1e6, "M"], [1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "µ"], [1e-9, "n"], [1e-12, "p"]];

function words(value, unit) {
  if (!/^(V|A|W|F|H|Hz|s|ohm)$/.test(unit)) return `${value.toPrecision(3).replace("-", "−")} ${unit}`;
  const [scale, prefix] = PREFIXES.find(([size]) => Math.abs(value) >= size) || [1, ""];
  return `${Number((value / scale).toPrecision(3))} ${prefix}${unit.replace("ohm", "Ω")}`.replace("-", "−");
}

function along(axis, share) {
  return axis.log ? axis.low * (axis.high / axis.low) ** share : axis.low + share * (axis.high - axis.low);
}

// Height of a drawn curve at a place [px], or NaN where it has none.
function heightAt(path, x) {
  path.points ??= path.getAttribute("d").split("M").filter(Boolean).map(run => run.trim().split(/\s+/).map(Number));
  for (const run of path.points)
    for (let i = 2; i < run.length; i += 2)
      if (run[i - 2] <= x && x <= run[i])
        return run[i - 1] + (run[i + 1] - run[i - 1]) * (run[i] === run[i - 2] ? 0 : (x - run[i - 2]) / (run[i] - run[i - 2]));
  return NaN;
}

function pointed(svg, event) {
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  for (const group of svg.querySelectorAll("g[data-plot]")) {
    const plot = group.plot ??= JSON.parse(group.dataset.plot);
    if (at.x < plot.left || at.x > plot.left + plot.width || at.y < plot.top || at.y > plot.top + plot.height) continue;
    const read = [words(along(plot.x, (at.x - plot.left) / plot.width), plot.x.unit)];
    for (const curve of group.querySelectorAll("g[data-curve]:not([hidden])")) {
      const y = heightAt(curve.querySelector("path"), at.x);
      if (Number.isFinite(y)) read.push(`${curve.dataset.curve} ${words(along(plot.y, (plot.top + plot.height - y) / plot.height), plot.y.unit)}`.trim());
    }
    return [plot, at.x, read.join("; ")];
  }
  return null;
}

for (const figure of document.querySelectorAll("figure")) {
  const svg = figure.querySelector("svg");
  if (!svg || !svg.querySelector("g[data-curve]")) continue;
  const line = document.createElementNS(svg.namespaceURI, "path"), shown = document.createElement("p");
  shown.className = "read";
  shown.textContent = "Point at a curve for its values.";
  line.setAttribute("class", "pointer");
  svg.append(line);
  const bar = document.createElement("div");
  bar.className = "switches";
  const names = new Set([...svg.querySelectorAll("g[data-curve]")].map(curve => curve.dataset.curve).filter(Boolean));
  if (names.size > 1) for (const name of names) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = name;
    button.setAttribute("aria-pressed", "true");
    button.addEventListener("click", () => {
      const on = button.getAttribute("aria-pressed") !== "true";
      button.setAttribute("aria-pressed", String(on));
      for (const curve of svg.querySelectorAll("g[data-curve]"))
        if (curve.dataset.curve === name) curve.toggleAttribute("hidden", !on);
    });
    bar.append(button);
  }
  bar.append(shown);
  figure.append(bar);
  svg.addEventListener("pointermove", event => {
    const found = pointed(svg, event);
    line.setAttribute("d", found ? `M${found[1]} ${found[0].top}v${found[0].height}` : "");
    if (found) shown.textContent = found[2];
  });
  svg.addEventListener("pointerleave", () => line.setAttribute("d", ""));
}

for (const link of document.querySelectorAll("a[data-part]")) link.addEventListener("click", () => {
  for (const one of document.querySelectorAll("#circuit [data-part]"))
    one.classList.toggle("marked", one.dataset.part === link.dataset.part);
});
