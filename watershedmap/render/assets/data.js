// The data block of the page, decoded once. Places are known by kind ("site", "reach", "area", "step") and position.

const EVIDENCE = { measured: 0, inferred: 1, unassessed: 2 };
const TREND = { none: -1, improving: 0, worsening: 1, unclear: 2, tooFew: 3 };

async function readData() {
  const data = JSON.parse(document.getElementById("watershed-data").textContent);
  data.reaches = unpackTable(data.reaches, await inflateBlock("watershed-reaches"));
  data.sites.points = decodePoints(data.sites.at);
  data.sites.snapped = decodePoints(data.sites.on);
  data.sites.n = data.sites.id.length;
  if (data.areas) {
    data.areas.shapes = decodeShapes(data.areas.ring);
    data.areas.points = decodePoints(data.areas.label);
    data.areas.n = data.areas.id.length;
  }
  if (data.steps) nameSteps(data);
  data.sites.samples = groupSamples(data.samples, data.sites.n);
  data.k = data.index.classes.length;
  data.streams = chainStreams(data.reaches);
  return data;
}

/** Positions of the samples of each site, newest first. */
function groupSamples(samples, n) {
  const groups = Array.from({ length: n }, () => []);
  samples.site.forEach((site, i) => {
    if (site >= 0) groups[site].push(i);
  });
  return groups;
}

/** The table of a kind of place. */
function tableOf(data, kind) {
  return { site: data.sites, reach: data.reaches, area: data.areas, step: data.steps }[kind];
}

/** Width of a line by class: the second cue beside colour, wider where condition is worse. */
function classWidth(rank, k) {
  return rank < 0 ? 1.2 : 2.4 + (4 * rank) / Math.max(1, k - 1);
}

/** "3 Good", or words for a place without a class. */
function classWords(data, kind, rank) {
  return rank < 0 ? noClass(kind, data) : `${rank + 1} ${data.index.classes[rank].label}`;
}

function noClass(kind, data) {
  if (data && periodOf(data, kind)) return "no scored sample";
  return kind === "site" ? "no class" : "unassessed";
}

/** On what the class of a reach or sub-watershed rests; nothing for a site, which is what others rest on. */
function evidenceWords(data, kind, i) {
  if (kind === "reach") return data.evidence[data.reaches.evidence[i]];
  return kind === "area" && data.areas.evidence[i] === EVIDENCE.inferred ? "inferred only" : "";
}

/** What keeps a class from standing for a current measurement: "inferred", "stale", or nothing. */
function reserve(table, i) {
  if (table.evidence?.[i] === EVIDENCE.inferred) return "inferred";
  return table.current && !table.current[i] ? "stale" : "";
}

/** How strongly a trend asks to be seen: clear ones first, the surest of them before the others. */
function trendWeight(trend, p) {
  const group = { [TREND.worsening]: 0, [TREND.improving]: 1, [TREND.unclear]: 2, [TREND.tooFew]: 3 }[trend] ?? 4;
  return group + (missing(p) ? 0.99 : Math.min(0.99, p));
}

/** The measured reaches below the best class, from the worst on: by class, then by score. */
function worstReaches(data, n) {
  const { id, score, rank, evidence } = data.reaches;
  const sign = data.index.better === "low" ? 1 : -1;
  return picked(data.reaches.n, (i) => evidence[i] === EVIDENCE.measured && rank[i] > 0)
    .sort((a, b) => rank[b] - rank[a] || sign * (score[b] - score[a]) || byText(id[a], id[b]))
    .slice(0, n);
}

function range(n) {
  return Array.from({ length: n }, (_, i) => i);
}

/** The positions that a test picks. */
function picked(n, test) {
  const list = [];
  for (let i = 0; i < n; i += 1) if (test(i)) list.push(i);
  return list;
}

/** Count and length of the reaches that a test picks. */
function tally({ n, lengthKm }, test) {
  let [count, km] = [0, 0];
  for (let i = 0; i < n; i += 1) {
    if (!test(i)) continue;
    count += 1;
    km += lengthKm[i] || 0;
  }
  return { count, km };
}
