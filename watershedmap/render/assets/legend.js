// The legend. Each section belongs to a layer of the map, switches it, and counts what it holds.

const MANY_REACHES = 1500; // from which the whole survey may be too small on the screen for every sign
const MANY_SITES = 60;

function buildLegend(data, watershed, onFit) {
  const sections = [reachSection(data), siteSection(data), badgeSection(data)];
  if (data.steps) sections.push(stepSection(data));
  if (data.areas) sections.push(areaSection(data, watershed));
  sections.push({ layer: "graticule", title: "Longitude and latitude", note: null, rows: null });
  return [
    element("div", { class: "legend-head" },
      element("h2", {}, "Legend"),
      element("button", { type: "button", class: "quiet", onclick: onFit }, "Zoom to whole watershed")),
    ...sections.map((section) => foldable(inPeriod(data, section), watershed)),
  ];
}

/** A section while a period is shown: what is about all years or the current condition is not drawn. */
function inPeriod(data, section) {
  const { period } = data;
  const left = { badges: "all years", steps: "all years" }[section.layer];
  if (!period) return section;
  if (left) return { ...section, note: `Not drawn while a period is shown: it is about ${left}.`, rows: null, off: true };
  if (section.layer === "areas") return { ...section, note: "Borders and names only while a period is shown: class and shares are current.", rows: null };
  return section;
}

/** The looks of a trace, for as long as there is one. */
function traceSection() {
  return element("section", { class: "legend-section", id: "legend-trace" },
    element("h3", {}, "Trace"),
    legendTable(["", "", ""], [[traceIcon("up"), "Everything upstream", ""], [traceIcon("way"), "Way down to the outlet", ""]]),
    element("p", { class: "note" }, "Escape clears it."));
}

function foldable({ layer, title, note, rows, off = false }, watershed) {
  const toggle = element("input", {
    type: "checkbox",
    checked: watershed.shown[layer],
    disabled: off,
    onchange: (event) => {
      watershed.setShown(layer, event.target.checked);
      event.target.closest("section").classList.toggle("off", !event.target.checked);
    },
  });
  return element("section", { class: `legend-section${watershed.shown[layer] ? "" : " off"}`, "data-layer": layer },
    element("h3", {}, element("label", {}, toggle, title)),
    note ? element("p", { class: "note" }, note) : null,
    rows);
}

function legendTable(heads, rows) {
  return element("table", { class: "legend-table" },
    element("thead", {}, element("tr", {}, heads.map((head) => (head ? element("th", { scope: "col" }, head) : element("td"))))),
    element("tbody", {}, rows.map(([icon, words, ...figures]) =>
      element("tr", {},
        element("td", { class: "legend-icon" }, icon),
        element("th", { scope: "row" }, words),
        figures.map((text) => element("td", { class: "number" }, text))))));
}

/** Count and length of reaches by evidence, by class and evidence, and by trend; in one go, as there may be many. */
function countReaches(data) {
  const { n, rank, evidence, trend, lengthKm } = data.reaches;
  const zeros = (size) => new Float64Array(size);
  const sums = { count: zeros(3), km: zeros(3), classKm: zeros(3 * data.k), trend: zeros(4), unsure: tally(data.reaches, (i) => isUncertain(data, data.reaches, i)), unknown: tally(data.reaches, (i) => rank[i] >= 0 && missing(data.reaches.certainty[i])) };
  for (let i = 0; i < n; i += 1) {
    const km = lengthKm[i] || 0;
    sums.count[evidence[i]] += 1;
    sums.km[evidence[i]] += km;
    if (rank[i] >= 0) sums.classKm[3 * rank[i] + evidence[i]] += km;
    if (trend[i] >= 0) sums.trend[trend[i]] += 1;
  }
  return sums;
}

function reachSection(data) {
  const { index } = data;
  data.sums ??= countReaches(data);
  const { sums } = data;
  const length = (km) => figure(km, km < 1000 ? 1 : 0);
  const classes = index.classes.map((band, rank) => {
    const km = (evidence) => length(sums.classKm[3 * rank + evidence]);
    return [
      lineIcon(lineLook(data, EVIDENCE.measured, rank)),
      `${rank + 1} ${band.label}`,
      element("span", { class: "limits" }, band.limits),
      km(EVIDENCE.measured),
      ...(data.period ? [] : [km(EVIDENCE.inferred)]),
    ];
  });
  const row = (evidence, words) => [evidenceIcon(data, evidence), words, figure(sums.count[evidence]), length(sums.km[evidence])];
  const { unsure, unknown } = sums;
  const evidence = data.period ? [
    row(EVIDENCE.measured, `Measured: a site scored in ${data.period.label}`),
    row(EVIDENCE.unassessed, "No scored sample in it: no class"),
  ] : [
    row(EVIDENCE.measured, "Measured: a site on it"),
    row(EVIDENCE.inferred, "Inferred along the flow"),
    [evidenceIcon(data, EVIDENCE.measured, true), "of both, class uncertain", figure(unsure.count), length(unsure.km)],
    ...(unknown.count ? [[null, "of both, certainty unknown", figure(unknown.count), length(unknown.km)]] : []),
    row(EVIDENCE.unassessed, "Unassessed"),
  ];
  return {
    layer: "reaches",
    title: "Stream reaches",
    note: `${index.label}${index.unit ? ` (${index.unit})` : ""}; ${index.better === "low" ? "low" : "high"} is good. Wider line: worse condition.${data.reaches.n > MANY_REACHES ? " Far out lines are thinner, and inferred ones have neither gaps nor edge." : ""}`,
    rows: [legendTable(["", "Class", "Score", "km measured", ...(data.period ? [] : ["km inferred"])], classes), classMeanings(data), legendTable(["", "Evidence", "Reaches", "km"], evidence)],
  };
}

/** What each class means, in the words of the source of the index; nothing where it gives none. */
function classMeanings(data) {
  const told = picked(data.k, (rank) => data.index.classes[rank].meaning);
  if (!told.length) return null;
  const open = Boolean(document.querySelector(".meanings")?.open); // the legend may be made anew: its toggle event comes too late
  return element("details", { class: "meanings", open },
    element("summary", {}, "What the classes mean"),
    element("dl", {}, told.map((rank) => [element("dt", {}, classWords(data, "reach", rank)), element("dd", {}, data.index.classes[rank].meaning)])),
    element("p", { class: "note" }, "As the source of the index reads them, for a place that was measured."));
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
  if (data.period) {
    const rows = [[siteIcon(data, some), `Scored in ${data.period.label}`, count((i) => sites.rank[i] >= 0)], [siteIcon(data, -1), "No scored sample in it", count((i) => sites.rank[i] < 0)]];
    return { layer: "sites", title: "Sampling sites", note: "The mean of the years of the period; how sure its class is, is not known.", rows: [legendTable(["", "The number is the class", "Sites"], rows)] };
  }
  return {
    layer: "sites",
    title: "Sampling sites",
    note: `Uncertain (?, broken edge): the class has a probability under ${percent(data.certainFrom)}, a limit of our own choice.${sites.n > MANY_SITES ? " Where many lie close they are dots, larger where condition is worse; go nearer for their numbers." : ""}`,
    rows: [legendTable(["", "The number is the class", "Sites"], [
      [siteIcon(data, some), "Current condition", count((i) => sites.rank[i] >= 0 && sites.current[i])],
      [siteIcon(data, some, false), "Last sampled too long ago", count((i) => sites.rank[i] >= 0 && !sites.current[i])],
      [siteIcon(data, some, true, true), "of both, class uncertain", count((i) => isUncertain(data, sites, i))],
      [siteIcon(data, -1), "No class: no usable sample", count((i) => sites.rank[i] < 0)],
    ])],
  };
}

function badgeSection(data) {
  const words = ["Condition improving", "Condition worsening", "No clear trend", "Too few years"];
  const count = (trend) => figure(data.sums.trend[trend]);
  return {
    layer: "badges",
    title: "Trend of condition",
    note: "Up is better, down is worse; this is not the direction of flow. Far out only clear trends are drawn, where there is room; the table has all.",
    rows: [legendTable(["", "Trend", "Reaches"], words.map((text, trend) => [badgeIcon(trend), text, count(trend)]))],
  };
}

function areaSection(data, watershed) {
  const count = (evidence) => figure(data.areas.evidence.filter((other) => other === evidence).length);
  return {
    layer: "areas",
    title: "Sub-watersheds",
    note: null,
    rows: [legendTable(["", "", "Areas"], [
      [areaIcon(data, EVIDENCE.measured), "Tint and number: class of its streams", count(EVIDENCE.measured)],
      [areaIcon(data, EVIDENCE.inferred), "Inferred only, no stream measured", count(EVIDENCE.inferred)],
      [areaIcon(data, EVIDENCE.unassessed), "Unassessed", count(EVIDENCE.unassessed)],
    ]), shadingChoice(watershed)],
  };
}

function areaIcon(data, evidence) {
  const { classes } = data.index;
  const box = { x: 1, y: 1, width: 34, height: 14, fill: "none", stroke: styleColour("border") };
  const size = { width: 36, height: 16, viewBox: "0 0 36 16", "aria-hidden": "true", class: "icon" };
  const stripe = (band, i) => drawn("rect", { x: 1 + (34 * i) / classes.length, y: 1, width: 34 / classes.length, height: 14, fill: tintOf(band) });
  const slants = [1, 7, 13, 19];
  const across = (x) => drawn("path", { d: `M${x} 15 L${x + 14} 1`, stroke: styleColour("hatch") });
  const down = (x, i) => drawn("path", { d: `M${x} 1 L${x + 14} 15`, stroke: classes[Math.floor((i * classes.length) / slants.length)].colour, "stroke-opacity": HATCH_STRENGTH, "stroke-width": 2 });
  const content = { [EVIDENCE.measured]: () => classes.map(stripe), [EVIDENCE.inferred]: () => slants.map(down), [EVIDENCE.unassessed]: () => slants.map(across) };
  return drawn("svg", size, content[evidence](), drawn("rect", box));
}
