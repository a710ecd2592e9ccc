// The legend. Each section belongs to a layer of the map, switches it, and counts what it holds.

function buildLegend(data, watershed, onFit) {
  const sections = [reachSection(data), siteSection(data), badgeSection(data)];
  if (data.areas) sections.push(areaSection(data));
  return [
    element("div", { class: "legend-head" },
      element("h2", {}, "Legend"),
      element("button", { type: "button", class: "quiet", onclick: onFit }, "Zoom to whole watershed")),
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
  const { reaches, index } = data;
  const length = (km) => figure(km, km < 1000 ? 1 : 0);
  const classes = index.classes.map((band, rank) => {
    const km = (evidence) => length(tally(reaches, (i) => reaches.rank[i] === rank && reaches.evidence[i] === evidence).km);
    return [
      lineIcon(lineLook(data, EVIDENCE.measured, rank)),
      `${rank + 1} ${band.label}`,
      element("span", { class: "limits" }, band.limits),
      km(EVIDENCE.measured),
      km(EVIDENCE.inferred),
    ];
  });
  const row = (evidence, words) => {
    const { count, km } = tally(reaches, (i) => reaches.evidence[i] === evidence);
    return [evidenceIcon(data, evidence), words, figure(count), length(km)];
  };
  const unsure = tally(reaches, (i) => isUncertain(data, reaches, i));
  const evidence = [
    row(EVIDENCE.measured, "Measured: a site on it"),
    row(EVIDENCE.inferred, "Inferred along the flow"),
    [evidenceIcon(data, EVIDENCE.measured, true), "of both, class uncertain", figure(unsure.count), length(unsure.km)],
    row(EVIDENCE.unassessed, "Unassessed"),
  ];
  return {
    layer: "reaches",
    title: "Stream reaches",
    note: `${index.label}${index.unit ? ` (${index.unit})` : ""}; ${index.better === "low" ? "low" : "high"} is good. Wider line: worse condition.`,
    rows: [legendTable(["", "Class", "Score", "km measured", "km inferred"], classes), legendTable(["", "Evidence", "Reaches", "km"], evidence)],
  };
}

/** A line that tells evidence and no class: of middle width, in ink. */
function evidenceIcon(data, evidence, uncertain = false) {
  if (evidence === EVIDENCE.unassessed) return lineIcon(lineLook(data, evidence, -1));
  return lineIcon({ ...lineLook(data, evidence, Math.floor(data.k / 2), uncertain), colour: styleColour("ink") });
}

function siteSection(data) {
  const { sites, k } = data;
  const count = (test) => figure(range(sites.n).filter(test).length);
  const some = Math.min(1, k - 1);
  return {
    layer: "sites",
    title: "Sampling sites",
    note: `Uncertain (?, broken edge): the class has a probability under ${percent(data.certainFrom)}, a limit of our own choice.`,
    rows: [legendTable(["", "The number is the class", "Sites"], [
      [siteIcon(data, some), "Current condition", count((i) => sites.rank[i] >= 0 && sites.current[i])],
      [siteIcon(data, some, false), "Last sampled too long ago", count((i) => sites.rank[i] >= 0 && !sites.current[i])],
      [siteIcon(data, some, true, true), "of both, class uncertain", count((i) => isUncertain(data, sites, i))],
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
  const count = (evidence) => figure(data.areas.evidence.filter((other) => other === evidence).length);
  return {
    layer: "areas",
    title: "Sub-watersheds",
    note: null,
    rows: [legendTable(["", "", "Areas"], [
      [areaIcon(data, EVIDENCE.measured), "Tint and number: class of its streams", count(EVIDENCE.measured)],
      [areaIcon(data, EVIDENCE.inferred), "Inferred only, no stream measured", count(EVIDENCE.inferred)],
      [areaIcon(data, EVIDENCE.unassessed), "Unassessed", count(EVIDENCE.unassessed)],
    ])],
  };
}

function areaIcon(data, evidence) {
  const { classes } = data.index;
  const box = { x: 1, y: 1, width: 34, height: 14, fill: "none", stroke: styleColour("border") };
  const size = { width: 36, height: 16, viewBox: "0 0 36 16", "aria-hidden": "true", class: "icon" };
  const stripe = (band, i) => drawn("rect", { x: 1 + (34 * i) / classes.length, y: 1, width: 34 / classes.length, height: 14, fill: band.tint });
  const slants = [1, 7, 13, 19];
  const across = (x) => drawn("path", { d: `M${x} 15 L${x + 14} 1`, stroke: styleColour("hatch") });
  const down = (x, i) => drawn("path", { d: `M${x} 1 L${x + 14} 15`, stroke: classes[Math.floor((i * classes.length) / slants.length)].colour, "stroke-opacity": HATCH_STRENGTH, "stroke-width": 2 });
  const content = { [EVIDENCE.measured]: () => classes.map(stripe), [EVIDENCE.inferred]: () => slants.map(down), [EVIDENCE.unassessed]: () => slants.map(across) };
  return drawn("svg", size, content[evidence](), drawn("rect", box));
}
