// The legend. Each section belongs to a layer of the map, switches it, and counts what it holds.

function buildLegend(data, watershed, onFit) {
  const sections = [reachSection(data), siteSection(data), badgeSection(data)];
  if (data.areas) sections.push(areaSection(data));
  return [
    element("div", { class: "legend-head" },
      element("h2", {}, "Legend"),
      element("button", { type: "button", class: "quiet", onclick: onFit }, "Show all")),
    ...sections.map((section) => foldable(section, watershed)),
  ];
}

function foldable({ layer, title, note, rows }, watershed) {
  const toggle = element("input", {
    type: "checkbox",
    checked: true,
    onchange: (event) => {
      watershed.setShown(layer, event.target.checked);
      event.target.closest("section").classList.toggle("off", !event.target.checked);
    },
  });
  return element("section", { class: "legend-section", "data-layer": layer },
    element("h3", {}, element("label", {}, toggle, title)),
    note ? element("p", { class: "note" }, note) : null,
    rows);
}

function legendTable(heads, rows) {
  return element("table", { class: "legend-table" },
    element("thead", {}, element("tr", {}, heads.map((head) => element("th", { scope: "col" }, head)))),
    element("tbody", {}, rows.map(([icon, words, ...figures]) =>
      element("tr", {},
        element("td", { class: "legend-icon" }, icon),
        element("th", { scope: "row" }, words),
        figures.map((text) => element("td", { class: "number" }, text))))));
}

function reachSection(data) {
  const { reaches, index, k } = data;
  const line = (evidence, rank) => lineIcon(lineLook(data, evidence, rank));
  const row = (icon, words, test) => {
    const { count, km } = tally(reaches, test);
    return [icon, words, figure(count), figure(km, km < 1000 ? 1 : 0)];
  };
  const classes = index.classes.map((band, rank) => {
    const [icon, words, count, km] = row(line(EVIDENCE.measured, rank), `${rank + 1} ${band.label}`, (i) => reaches.rank[i] === rank);
    return [icon, words, element("span", { class: "limits" }, band.limits), count, km];
  });
  const middle = Math.floor(k / 2);
  const evidence = [
    row(line(EVIDENCE.measured, middle), "Measured: a site on it", (i) => reaches.evidence[i] === EVIDENCE.measured),
    row(line(EVIDENCE.inferred, middle), "Inferred along the flow", (i) => reaches.evidence[i] === EVIDENCE.inferred),
    row(line(EVIDENCE.unassessed, -1), "Not assessed", (i) => reaches.evidence[i] === EVIDENCE.unassessed),
  ];
  return {
    layer: "reaches",
    title: "Stream reaches",
    note: `${index.label}${index.unit ? ` (${index.unit})` : ""}; ${index.better === "low" ? "low" : "high"} is good. Wider line: worse condition.`,
    rows: [legendTable(["", "Class", "Score", "Reaches", "km"], classes), legendTable(["", "Evidence", "Reaches", "km"], evidence)],
  };
}

function siteSection(data) {
  const { sites, k } = data;
  const count = (test) => figure(range(sites.n).filter(test).length);
  const some = Math.min(1, k - 1);
  return {
    layer: "sites",
    title: "Sampling sites",
    note: null,
    rows: [legendTable(["", "The number is the class", "Sites"], [
      [siteIcon(data, some), "Current condition", count((i) => sites.rank[i] >= 0 && sites.current[i])],
      [siteIcon(data, some, false), "Last sampled too long ago", count((i) => sites.rank[i] >= 0 && !sites.current[i])],
      [siteIcon(data, -1), "No class: no usable sample", count((i) => sites.rank[i] < 0)],
    ])],
  };
}

function badgeSection(data) {
  const { reaches } = data;
  const words = ["Condition improving", "Condition worsening", "No clear trend", "Too few years"];
  const count = (trend) => figure(range(reaches.n).filter((i) => reaches.trend[i] === trend).length);
  return {
    layer: "badges",
    title: "Trend of condition",
    note: "Up is better, down is worse; this is not the direction of flow. Far out only clear trends are drawn.",
    rows: [legendTable(["", "Trend", "Reaches"], words.map((text, trend) => [badgeIcon(trend), text, count(trend)]))],
  };
}

function areaSection(data) {
  const { areas } = data;
  const count = (test) => figure(range(areas.n).filter(test).length);
  return {
    layer: "areas",
    title: "Sub-watersheds",
    note: null,
    rows: [legendTable(["", "", "Areas"], [
      [areaIcon(data, true), "Tint and number: class of its streams", count((i) => areas.rank[i] >= 0)],
      [areaIcon(data, false), "No reach assessed", count((i) => areas.rank[i] < 0)],
    ])],
  };
}

function areaIcon(data, known) {
  const box = { x: 1, y: 1, width: 34, height: 14, stroke: styleColour("border") };
  const size = { width: 36, height: 16, viewBox: "0 0 36 16", "aria-hidden": "true", class: "icon" };
  if (!known) {
    const slant = (x) => drawn("path", { d: `M${x} 15 L${x + 14} 1`, stroke: styleColour("hatch") });
    return drawn("svg", size, drawn("rect", { ...box, fill: "none" }), [1, 7, 13, 19].map(slant));
  }
  const { classes } = data.index;
  const stripe = (band, i) => drawn("rect", { x: 1 + (34 * i) / classes.length, y: 1, width: 34 / classes.length, height: 14, fill: band.tint });
  return drawn("svg", size, classes.map(stripe), drawn("rect", { ...box, fill: "none" }));
}
