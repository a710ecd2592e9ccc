// What sub-watersheds are shaded by: the class of their streams, or how much of them is known.

const MEASURES = {
  class: { words: "Class of its streams" },
  assessed: { words: "Share assessed", value: (areas, i) => areas.assessedShare[i] },
  measured: { words: "Share measured", value: (areas, i) => measuredShare(areas, i) },
};
const SHADE = { least: 0.06, most: 0.6 }; // strength of the shade at none and at all

function shadeStrength(share) {
  return SHADE.least + (SHADE.most - SHADE.least) * Math.min(1, Math.max(0, share));
}

/** The choice of what is shaded, with the signs of the shares; those of the classes stand above it. */
function shadingChoice(watershed) {
  const signs = element("div", {});
  const show = () => signs.replaceChildren(...(watershed.measure === "class" ? [] : [shadeSigns(watershed.measure)]));
  const choose = (event) => {
    watershed.shadeAreas(event.target.value);
    show();
  };
  const choices = Object.entries(MEASURES).map(([key, { words }]) => element("option", { value: key, selected: key === watershed.measure }, words));
  show();
  return element("div", { class: "shading" },
    element("label", { for: "area-measure" }, "Shade by "), element("select", { id: "area-measure", onchange: choose }, choices), signs);
}

function shadeSigns(measure) {
  const rows = [0, 0.25, 0.5, 0.75, 1].map((share) => [
    drawn("svg", { width: 36, height: 16, viewBox: "0 0 36 16", "aria-hidden": "true", class: "icon" },
      drawn("rect", { x: 1, y: 1, width: 34, height: 14, fill: styleColour("accent"), "fill-opacity": shadeStrength(share), stroke: styleColour("border") })),
    percent(share)]);
  return legendTable(["", `${MEASURES[measure].words}, of stream length`], rows);
}
