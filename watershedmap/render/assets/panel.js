// What is known of the selected place, in words and figures.

const KIND_WORDS = { site: "Site", reach: "Reach", area: "Sub-watershed", step: "Step along the flow" };

/** Fill the panel. `choose` selects another place, `close` closes the panel. */
function buildPanel(data, { kind, i }, choose, close, trace) {
  const table = tableOf(data, kind);
  const body = { site: sitePanel, reach: reachPanel, area: areaPanel, step: stepPanel }[kind](data, i, choose);
  const reach = kind === "reach" ? i : kind === "site" ? data.sites.reach[i] : -1;
  return [
    element("div", { class: "panel-head" },
      element("div", {},
        element("p", { class: "kind" }, KIND_WORDS[kind]),
        element("h2", { tabindex: "-1", id: "panel-title" },
          element("span", { class: "place-id" }, table.id[i]),
          table.name[i] && table.name[i] !== table.id[i] ? ` ${table.name[i]}` : "")),
      element("button", { type: "button", class: "close", "aria-label": "Close", onclick: close }, "\u00d7")),
    element("div", { class: "panel-body" },
      reach < 0 || missing(data.reaches.upKm[reach]) ? null : element("p", { class: "actions" },
        element("button", { type: "button", class: "quiet", id: "trace-button", "aria-keyshortcuts": "T", onclick: () => trace(reach) }, "Trace upstream and down to the outlet")),
      element("div", { id: "trace-summary" }),
      body),
  ];
}

function reachPanel(data, i, choose) {
  const { reaches } = data;
  return [
    conditionBlock(data, "reach", i),
    certaintyBlock(data, "reach", i),
    element("p", {}, reachEvidence(data, i, choose)),
    reaches.evidence[i] === EVIDENCE.measured ? trendBlock(data, reaches, i) : null,
    reaches.sites.of(i).map((site) => [
      reaches.sites.of(i).length > 1 ? element("h4", {}, fullName(data.sites.id[site], data.sites.name[site])) : null,
      yearChart(data, site),
    ]),
    neighbourBlock(data, reaches, i, choose),
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
  return missing(reaches.upKm[i]) ? "unknown: flow direction not known" : "nothing: outlet of this layer";
}

function sitePanel(data, i, choose) {
  const { sites } = data;
  const reach = sites.reach[i];
  return [
    conditionBlock(data, "site", i),
    sites.rank[i] >= 0 && !sites.current[i]
      ? element("p", { class: "caution" }, `Last sampled in ${sites.lastYear[i]}: too long ago to stand for today.`)
      : null,
    classRange(data, i),
    certaintyBlock(data, "site", i),
    trendBlock(data, sites, i),
    yearChart(data, i),
    reach < 0 || missing(data.reaches.upKm[reach]) ? null : neighbourBlock(data, sites, i, choose),
    reach < 0 ? null : upstreamBlock(data, reach),
    stepBlock(data, i, choose),
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
    conditionBlock(data, "area", i, "mean over its assessed streams, weighted by length"),
    certaintyBlock(data, "area", i),
    factList([
      ["Area", missing(areas.areaKm2[i]) ? UNKNOWN : `${figure(areas.areaKm2[i], 1)} km\u00b2`],
      ["Streams", kilometres(areas.streamKm[i])],
      ["Assessed", `${kilometres(areas.assessedKm[i])} (${percent(areas.assessedShare[i])})`],
      ["of that measured", kilometres(areas.measuredKm[i])],
      ["Sites", siteLinks(data, inside, choose) ?? "none"],
    ]),
  ];
}

/** Class, what it rests on, the score with its interval, and the meaning of the class where it was measured. */
function conditionBlock(data, kind, i, of = "") {
  const table = tableOf(data, kind);
  const rank = table.rank[i];
  const band = data.index.classes[rank];
  const held = reserve(table, i);
  const meaning = kind !== "area" && held !== "inferred" && band?.meaning;
  return element("div", { class: "condition" },
    classTile(data, rank, held, isUncertain(data, table, i)),
    element("div", {},
      held === "inferred" ? element("p", { class: "reserve" }, inferredWords(data, kind, i)) : null,
      element("p", { class: "class-name" }, band ? band.label : sentence(noClass(kind))),
      element("p", { class: "score" }, scoreWords(data, table, i, of)),
      meaning ? element("p", { class: "note" }, `The source of the index reads this class as: ${meaning}`) : null));
}

function inferredWords(data, kind, i) {
  if (kind === "reach") return "Inferred, not measured";
  return data.areas.nSites[i] ? "Inferred only: no stream inside is measured" : "Inferred only: no site inside";
}

function scoreWords(data, table, i, of) {
  const { label, decimals, classes } = data.index;
  if (missing(table.score[i])) return `${label}: ${UNKNOWN}`;
  const range90 = !missing(table.low?.[i])
    ? `, 90 % interval ${figure(table.low[i], decimals)} to ${figure(table.high[i], decimals)}${intervalBasis(data, table, i)}`
    : "";
  const band = classes[table.rank[i]];
  const limits = band ? ` (${band.label}: ${band.limits})` : "";
  return [element("b", {}, `${label} ${figure(table.score[i], decimals)}`), range90 || intervalUnknown(data, table, i), of ? `; ${of}` : "", limits];
}

function intervalUnknown(data, table, i) {
  if (table === data.areas) return "";
  if (table === data.reaches && table.evidence[i] === EVIDENCE.inferred) return ", 90 % interval unknown: too few sites, or one of those it comes from has none";
  if (table === data.reaches && table.sites.of(i).length > 1) return ", 90 % interval unknown: a site on it has one year only, and no counts to say more";
  return ", 90 % interval unknown: one year only, and no counts to say more";
}

function classRange(data, i) {
  const { rankLow, rankHigh } = data.sites;
  if (rankLow[i] < 0 || rankHigh[i] < 0 || rankLow[i] === rankHigh[i]) return null;
  const [a, b] = [rankLow[i], rankHigh[i]].sort((x, y) => x - y);
  return element("p", { class: "note" }, `The interval reaches from class ${classWords(data, "site", a)} to ${classWords(data, "site", b)}.`);
}

function reachEvidence(data, i, choose) {
  const { reaches } = data;
  if (reaches.evidence[i] === EVIDENCE.measured) return ["Measured at ", siteLinks(data, reaches.sites.of(i), choose), "."];
  if (reaches.evidence[i] === EVIDENCE.inferred) {
    const several = reaches.from.of(i).length > 1;
    const far = missing(reaches.fromKm[i]) ? "" : `${several ? "; the nearest is" : ","} ${kilometres(reaches.fromKm[i])} along the flow`;
    return ["Inferred from ", siteLinks(data, reaches.from.of(i), choose), `${far}.`];
  }
  if (missing(reaches.upKm[i])) return "Unassessed: no site on it, and the direction of flow is unknown.";
  return "Unassessed: no current site on it, and none near enough along the flow.";
}

function trendBlock(data, table, i) {
  const trend = table.trend[i];
  if (trend < 0) return element("p", { class: "trend" }, "Trend of condition: unknown, never sampled.");
  return element("p", { class: "trend" }, badgeIcon(trend, 22),
    element("span", {}, element("b", {}, trendTitle(data, trend)), trendDetail(data, table, i)));
}

function trendTitle(data, trend) {
  return { [TREND.improving]: "Condition improving", [TREND.worsening]: "Condition worsening" }[trend] ?? sentence(data.trends[trend]);
}

function sentence(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}

function trendDetail(data, table, i) {
  const years = counted(table.trendYears[i], "year");
  if (missing(table.slope[i])) return `: ${years} with a score.`;
  const decimals = data.index.decimals + 1;
  const interval = missing(table.slopeLow[i]) || missing(table.slopeHigh[i])
    ? "interval unknown"
    : `90 % interval ${signed(table.slopeLow[i], decimals)} to ${signed(table.slopeHigh[i], decimals)}`;
  return `: ${data.index.label} ${signed(table.slope[i], decimals)} a year (${interval}), ${pValue(table.p[i])}, ${years}.`;
}

/** The sampled sites next along the flow: from a site itself, or beyond the ends of a reach. */
function neighbourBlock(data, table, i, choose) {
  if (table === data.reaches && missing(table.upKm[i])) return null;
  const line = (word, site, km) => element("li", {}, `${word}: `,
    site < 0 ? "none" : [placeLink(data, "site", site, choose), ` ${kilometres(km)} `, classChip(data, "site", site, staleWords(data.sites, site))]);
  return [
    element("h3", {}, table === data.reaches ? "Next sampled sites beyond its ends, along the flow" : "Next sampled sites along the flow"),
    element("ul", { class: "neighbours" },
      line("Upstream", table.upSite[i], table.upSiteKm[i]),
      line("Downstream", table.downSite[i], table.downSiteKm[i])),
  ];
}

function staleWords(sites, i) {
  return reserve(sites, i) === "stale" && sites.lastYear[i] !== null ? ` (last sampled ${sites.lastYear[i]})` : "";
}

function upstreamBlock(data, reach) {
  const { reaches } = data;
  const title = element("h3", {}, "All streams upstream, this reach included");
  const total = reaches.upKm[reach];
  if (missing(total)) return [title, element("p", { class: "note" }, "Unknown: the direction of flow of this layer is not known.")];
  const known = reaches.upAssessedKm[reach];
  return [
    title,
    element("p", {}, `${kilometres(total)} of stream, ${missing(known) ? UNKNOWN : percent(total ? known / total : 0)} assessed, ${counted(reaches.upSites[reach], "site")}. Mean by length: `,
      element("b", {}, missing(reaches.upScore[reach]) ? UNKNOWN : figure(reaches.upScore[reach], data.index.decimals)), "."),
    upstreamBar(data, reach),
  ];
}

/** Kilometres upstream by class, as one bar and in words. */
function upstreamBar(data, reach) {
  const { classes } = data.index;
  const kms = data.reaches.upClassKm.map((column) => column[reach] || 0);
  const words = kms.flatMap((km, rank) => (km ? [`${classWords(data, "reach", rank < classes.length ? rank : -1)} ${kilometres(km)}`] : []));
  return classBar(data, kms, words, "Upstream by class");
}

function classBar(data, kms, words, title) {
  const { classes } = data.index;
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
  return element("figure", { class: "bar" },
    drawn("svg", { viewBox: `0 0 ${width} 16`, role: "img", "aria-label": `${title}: ${words.join(", ")}`, preserveAspectRatio: "none" }, parts),
    element("figcaption", {}, words.join(" · "), kms.slice(0, -1).some(Boolean) ? [element("br"), "Measured and inferred together."] : null));
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
