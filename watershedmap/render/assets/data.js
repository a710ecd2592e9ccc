// The data block of the page, decoded once. Places are known by kind ("site", "reach", "area") and position.

const EVIDENCE = { measured: 0, inferred: 1, unassessed: 2 };
const TREND = { none: -1, improving: 0, worsening: 1, unclear: 2, tooFew: 3 };

function readData() {
  const data = JSON.parse(document.getElementById("watershed-data").textContent);
  data.reaches.shapes = decodeShapes(data.reaches.line);
  data.reaches.n = data.reaches.id.length;
  data.sites.points = decodePoints(data.sites.at);
  data.sites.snapped = decodePoints(data.sites.on);
  data.sites.n = data.sites.id.length;
  if (data.areas) {
    data.areas.shapes = decodeShapes(data.areas.ring);
    data.areas.points = decodePoints(data.areas.label);
    data.areas.n = data.areas.id.length;
  }
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

/** Reaches of one name that follow each other, joined to runs that a name can be written along; longest first. */
function chainStreams(reaches) {
  const above = reaches.name.map(() => 0);
  reaches.down.forEach((down, i) => {
    if (down >= 0 && reaches.name[i] && reaches.name[i] === reaches.name[down]) above[down] += 1;
  });
  const used = new Set();
  const heads = range(reaches.n).sort((a, b) => above[a] - above[b]);
  const runs = heads.filter((i) => reaches.name[i] && !used.has(i)).flatMap((i) => (used.has(i) ? [] : [followName(reaches, i, used)]));
  runs.sort((a, b) => b.length - a.length);
  return { name: runs.map((run) => run.name), shapes: joinRuns(runs) };
}

function followName(reaches, start, used) {
  const run = { name: reaches.name[start], x: [], y: [], length: 0 };
  for (let i = start; i >= 0 && !used.has(i) && reaches.name[i] === run.name; i = reaches.down[i]) {
    used.add(i);
    run.length += reaches.lengthKm[i] ?? 0;
    appendLine(reaches.shapes, i, run);
  }
  return run;
}

/** Add a line to a run, turned so that it starts where the run ends. */
function appendLine(shapes, i, run) {
  const [first, end] = vertexRange(shapes, i);
  if (first === end) return;
  const x = [...shapes.x.subarray(first, end)];
  const y = [...shapes.y.subarray(first, end)];
  const from = run.x.length - 1;
  const gap = (v) => Math.hypot(x[v] - run.x[from], y[v] - run.y[from]);
  if (from >= 0 && gap(x.length - 1) < gap(0)) {
    x.reverse();
    y.reverse();
  }
  run.x.push(...x);
  run.y.push(...y);
}

function joinRuns(runs) {
  const shapes = {
    n: runs.length,
    firstPart: Uint32Array.from(range(runs.length + 1)),
    firstVertex: runningSum(runs.map((run) => run.x.length)),
    x: Float64Array.from(runs.flatMap((run) => run.x)),
    y: Float64Array.from(runs.flatMap((run) => run.y)),
  };
  shapes.box = boxes(shapes);
  return shapes;
}

/** The table of a kind of place. */
function tableOf(data, kind) {
  return { site: data.sites, reach: data.reaches, area: data.areas }[kind];
}

/** Width of a line by class: the second cue beside colour, wider where condition is worse. */
function classWidth(rank, k) {
  return rank < 0 ? 1.2 : 2.4 + (4 * rank) / Math.max(1, k - 1);
}

/** "3 Good", or words for a place without a class. */
function classWords(data, kind, rank) {
  return rank < 0 ? noClass(kind) : `${rank + 1} ${data.index.classes[rank].label}`;
}

function noClass(kind) {
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
  return group + Math.min(0.99, p ?? 0.99);
}

/** The measured reaches below the best class, from the worst on: by class, then by score. */
function worstReaches(data, n) {
  const { reaches, index } = data;
  const sign = index.better === "low" ? 1 : -1;
  return range(reaches.n)
    .filter((i) => reaches.evidence[i] === EVIDENCE.measured && reaches.rank[i] > 0)
    .sort((a, b) => reaches.rank[b] - reaches.rank[a] || sign * (reaches.score[b] - reaches.score[a]) || byText(reaches.id[a], reaches.id[b]))
    .slice(0, n);
}

function range(n) {
  return Array.from({ length: n }, (_, i) => i);
}

/** Count and length of the reaches that a test picks. */
function tally(reaches, test) {
  const picked = range(reaches.n).filter(test);
  return { count: picked.length, km: picked.reduce((sum, i) => sum + (reaches.lengthKm[i] ?? 0), 0) };
}
