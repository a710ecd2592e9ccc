// What is known of the selected place, in words and figures.

const KIND_WORDS = { site: "Site", reach: "Reach", area: "Sub-watershed" };

/** Fill the panel. `choose` selects another place, `close` closes the panel. */
function buildPanel(data, { kind, i }, choose, close) {
  const table = tableOf(data, kind);
  const body = { site: sitePanel, reach: reachPanel, area: areaPanel }[kind](data, i, choose);
  return [
    element("div", { class: "panel-head" },
      element("div", {},
        element("p", { class: "kind" }, KIND_WORDS[kind]),
        element("h2", { tabindex: "-1", id: "panel-title" },
          element("span", { class: "place-id" }, table.id[i]),
          table.name[i] && table.name[i] !== table.id[i] ? ` ${table.name[i]}` : "")),
      element("button", { type: "button", class: "close", "aria-label": "Close", onclick: close }, "\u00d7")),
    element("div", { class: "panel-body" }, body),
  ];
}

function reachPanel(data, i, choose) {
  const { reaches } = data;
  return [
    conditionBlock(data, reaches, i),
    element("p", {}, reachEvidence(data, i, choose)),
    reaches.evidence[i] === EVIDENCE.measured ? trendBlock(data, reaches, i, false) : null,
    reaches.sites[i].map((site) => [
      reaches.sites[i].length > 1 ? element("h4", {}, fullName(data.sites.id[site], data.sites.name[site])) : null,
      yearChart(data, site),
    ]),
    neighbourBlock(data, i, choose),
    upstreamBlock(data, i),
    factList([
      ["Length", kilometres(reaches.lengthKm[i], 2)],
      ["Stream order (Strahler)", figure(reaches.order[i])],
      ["Flows into", reaches.down[i] < 0 ? downWords(reaches, i) : placeLink(data, "reach", reaches.down[i], choose)],
      ["Sub-watershed", areaWords(data, reaches.area[i], choose)],
      ["Sites on it", siteLinks(data, range(data.sites.n).filter((site) => data.sites.reach[site] === i), choose) ?? "none"],
    ]),
  ];
}

function downWords(reaches, i) {
  return reaches.upKm[i] === null ? "unknown: flow direction not known" : "nothing: outlet of this layer";
}

function sitePanel(data, i, choose) {
  const { sites } = data;
  const reach = sites.reach[i];
  return [
    conditionBlock(data, sites, i),
    sites.rank[i] >= 0 && !sites.current[i]
      ? element("p", { class: "caution" }, `Last sampled in ${sites.lastYear[i]}: too long ago to stand for today.`)
      : null,
    classRange(data, i),
    trendBlock(data, sites, i, true),
    yearChart(data, i),
    reach < 0 ? null : neighbourBlock(data, reach, choose),
    reach < 0 ? null : upstreamBlock(data, reach),
    samplesBlock(data, i),
    factList([
      ["On reach", sitePlace(data, i, choose)],
      ["Sub-watershed", areaWords(data, sites.area[i], choose)],
      ["Years sampled", sites.nYears[i] ? `${figure(sites.nYears[i])} (${sites.firstYear[i]}–${sites.lastYear[i]})` : "none"],
      sites.notes[i] ? ["Notes", sites.notes[i]] : null,
    ]),
  ];
}

function areaPanel(data, i, choose) {
  const { areas, sites } = data;
  const inside = range(sites.n).filter((site) => sites.area[site] === i);
  return [
    conditionBlock(data, areas, i, "mean over its assessed streams, weighted by length"),
    factList([
      ["Area", areas.areaKm2[i] === null ? UNKNOWN : `${figure(areas.areaKm2[i], 1)} km\u00b2`],
      ["Streams", kilometres(areas.streamKm[i])],
      ["Assessed", `${kilometres(areas.assessedKm[i])} (${percent(areas.assessedShare[i])})`],
      ["of that measured", kilometres(areas.measuredKm[i])],
      ["Sites", siteLinks(data, inside, choose) ?? "none"],
    ]),
  ];
}

/** Class, its meaning, and the score with its interval. */
function conditionBlock(data, table, i, of = "") {
  const rank = table.rank[i];
  const band = data.index.classes[rank];
  return element("div", { class: "condition" },
    rank < 0 ? element("span", { class: "class-number none" }, "\u2013") : classNumber(band, rank),
    element("div", {},
      element("p", { class: "class-name" }, rank < 0 ? "Not assessed" : band.label),
      band?.meaning ? element("p", {}, band.meaning) : null,
      element("p", { class: "score" }, scoreWords(data, table, i, of))));
}

function classNumber(band, rank) {
  const number = element("span", { class: "class-number", title: `class ${rank + 1}` }, String(rank + 1));
  number.style.background = band.colour;
  number.style.color = band.text;
  return number;
}

function scoreWords(data, table, i, of) {
  const { label, decimals, classes } = data.index;
  if (table.score[i] === null) return `${label}: ${UNKNOWN}`;
  const range90 = table.low?.[i] !== null && table.low?.[i] !== undefined
    ? `, 90 % interval ${figure(table.low[i], decimals)} to ${figure(table.high[i], decimals)}`
    : "";
  const band = classes[table.rank[i]];
  const limits = band ? ` (${band.label}: ${band.limits})` : "";
  return [element("b", {}, `${label} ${figure(table.score[i], decimals)}`), range90 || intervalUnknown(data, table, i), of ? `; ${of}` : "", limits];
}

function intervalUnknown(data, table, i) {
  if (table === data.areas) return "";
  if (table === data.reaches && table.evidence[i] === EVIDENCE.inferred) return ", interval unknown: inferred";
  return ", 90 % interval unknown: one year only";
}

function classRange(data, i) {
  const { rankLow, rankHigh } = data.sites;
  if (rankLow[i] < 0 || rankHigh[i] < 0 || rankLow[i] === rankHigh[i]) return null;
  const [a, b] = [rankLow[i], rankHigh[i]].sort((x, y) => x - y);
  return element("p", { class: "note" }, `The interval reaches from class ${classWords(data, a)} to ${classWords(data, b)}.`);
}

function reachEvidence(data, i, choose) {
  const { reaches } = data;
  if (reaches.evidence[i] === EVIDENCE.measured) return ["Measured at ", siteLinks(data, reaches.sites[i], choose), "."];
  if (reaches.evidence[i] === EVIDENCE.inferred) {
    const several = reaches.from[i].length > 1;
    const far = reaches.fromKm[i] === null ? "" : `${several ? "; the nearest is" : ","} ${kilometres(reaches.fromKm[i])} along the flow`;
    return ["Inferred, not measured: from ", siteLinks(data, reaches.from[i], choose), `${far}.`];
  }
  if (reaches.upKm[i] === null) return "Not assessed: no site on it, and the direction of flow is unknown.";
  return "Not assessed: no current site on it, and none near enough along the flow.";
}

function trendBlock(data, table, i, isSite) {
  const trend = table.trend[i];
  if (trend < 0) return element("p", { class: "trend" }, "Trend of condition: unknown, never sampled.");
  return element("p", { class: "trend" }, badgeIcon(trend, 22),
    element("span", {}, element("b", {}, trendTitle(data, trend)), trendDetail(data, table, i, isSite)));
}

function trendTitle(data, trend) {
  return { [TREND.improving]: "Condition improving", [TREND.worsening]: "Condition worsening" }[trend] ?? sentence(data.trends[trend]);
}

function sentence(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}

function trendDetail(data, table, i) {
  const years = counted(table.trendYears[i], "year");
  if (table.slope[i] === null) return `: ${years} with a score.`;
  const decimals = data.index.decimals + 1;
  const interval = table.slopeLow[i] === null || table.slopeHigh[i] === null
    ? "interval unknown"
    : `90 % interval ${signed(table.slopeLow[i], decimals)} to ${signed(table.slopeHigh[i], decimals)}`;
  return `: ${signed(table.slope[i], decimals)} a year (${interval}), ${pValue(table.p[i])}, ${years}.`;
}

function neighbourBlock(data, reach, choose) {
  const { reaches } = data;
  if (reaches.upKm[reach] === null) return null;
  const line = (word, site, km) => element("li", {}, `${word}: `,
    site < 0 ? "none" : [placeLink(data, "site", site, choose), ` ${kilometres(km)} `, classChip(data, data.sites.rank[site])]);
  return [
    element("h3", {}, "Nearest sampled sites along the flow"),
    element("ul", { class: "neighbours" },
      line("Upstream", reaches.upSite[reach], reaches.upSiteKm[reach]),
      line("Downstream", reaches.downSite[reach], reaches.downSiteKm[reach])),
  ];
}

function upstreamBlock(data, reach) {
  const { reaches } = data;
  const title = element("h3", {}, "All streams upstream, this reach included");
  const total = reaches.upKm[reach];
  if (total === null) return [title, element("p", { class: "note" }, "Unknown: the direction of flow of this layer is not known.")];
  const known = reaches.upAssessedKm[reach];
  return [
    title,
    element("p", {}, `${kilometres(total)} of stream, ${known === null ? UNKNOWN : percent(total ? known / total : 0)} assessed, ${counted(reaches.upSites[reach], "site")}. Mean by length: `,
      element("b", {}, reaches.upScore[reach] === null ? UNKNOWN : figure(reaches.upScore[reach], data.index.decimals)), "."),
    upstreamBar(data, reach),
  ];
}

/** Kilometres upstream by class, as one bar and in words. */
function upstreamBar(data, reach) {
  const { classes } = data.index;
  const kms = data.reaches.upClassKm.map((column) => column[reach] ?? 0);
  const total = kms.reduce((sum, km) => sum + km, 0);
  if (!total) return null;
  const width = 360;
  let x = 0;
  const parts = kms.map((km, rank) => {
    const size = (width * km) / total;
    x += size;
    const fill = rank < classes.length ? classes[rank].colour : styleColour("nodata-soft");
    return km ? drawn("rect", { x: x - size, y: 0, width: size, height: 16, fill, stroke: styleColour("paper") }) : null;
  });
  const words = kms.flatMap((km, rank) => (km ? [`${rank < classes.length ? classWords(data, rank) : "not assessed"} ${kilometres(km)}`] : []));
  return element("figure", { class: "bar" },
    drawn("svg", { viewBox: `0 0 ${width} 16`, role: "img", "aria-label": `Upstream by class: ${words.join(", ")}`, preserveAspectRatio: "none" }, parts),
    element("figcaption", {}, words.join(" · ")));
}

function samplesBlock(data, site) {
  const { samples, sites } = data;
  const listed = sites.samples[site];
  const all = samples.perSite[site];
  if (!listed.length) return [element("h3", {}, "Samples"), element("p", { class: "note" }, "None.")];
  const heads = ["Date", "Method", "Individuals", "Taxa", "EPT taxa", "Score"];
  return [
    element("h3", {}, listed.length < all ? `Last ${listed.length} of ${all} samples` : `${counted(all, "sample")}`),
    element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Samples" },
      element("table", { class: "plain samples" },
        element("thead", {}, element("tr", {}, heads.map((head) => element("th", { scope: "col" }, head)))),
        element("tbody", {}, listed.map((i) => sampleRows(data, i, heads.length))))),
  ];
}

function sampleRows(data, i, columns) {
  const { samples, index } = data;
  const method = [samples.method[i] || UNKNOWN, samples.replicate[i] ? ` (${samples.replicate[i]})` : ""].join("");
  const number = (text) => element("td", { class: "number" }, text);
  const row = element("tr", { class: samples.flags[i] ? "flagged" : null },
    element("th", { scope: "row" }, samples.date[i] || UNKNOWN),
    element("td", {}, method),
    number(figure(samples.individuals[i])),
    number(figure(samples.richness[i])),
    number(figure(samples.ept[i])),
    number(figure(samples.score[i], index.decimals)));
  if (!samples.flags[i]) return row;
  return [row, element("tr", { class: "flags" }, element("td", { colspan: columns }, `\u2691 ${samples.flags[i]}`))];
}

function sitePlace(data, i, choose) {
  const { sites } = data;
  if (sites.reach[i] < 0) return `none: ${sites.offsetM[i] === null ? "no reach near enough" : `the nearest is ${figure(sites.offsetM[i])} m away`}`;
  return [
    placeLink(data, "reach", sites.reach[i], choose),
    `, ${figure(sites.positionM[i])} m above its lower end, ${figure(sites.offsetM[i])} m from the line`,
  ];
}

function areaWords(data, area, choose) {
  if (!data.areas) return "no such layer";
  return area < 0 ? "none" : placeLink(data, "area", area, choose);
}

function siteLinks(data, sites, choose) {
  if (!sites.length) return null;
  return sites.flatMap((site, n) => [n ? ", " : null, placeLink(data, "site", site, choose)]);
}

function placeLink(data, kind, i, choose) {
  const table = tableOf(data, kind);
  const text = kind === "area" ? table.name[i] || table.id[i] : fullName(table.id[i], table.name[i]);
  return element("button", { type: "button", class: "link", onclick: () => choose({ kind, i }) }, text);
}

function factList(facts) {
  return element("dl", { class: "facts-list" },
    facts.filter(Boolean).map(([name, value]) => [element("dt", {}, name), element("dd", {}, value)]));
}
