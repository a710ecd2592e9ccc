// Steps: clear changes of score between two neighbouring sites along the flow, marked half way between them.

const STEP = { worse: 0, better: 1 };
const STEP_PATH = ["M-5 -3 H-1 V3 H5", "M-5 3 H-1 V-3 H5"]; // a stair, going down for worse and up for better

const STEP_SPOTS = [[0, 0], ...[14, 24].flatMap((far) => [[0, -far], [far, 0], [-far, 0], [0, far]])]; // about its place, pixels

/** Where each step stands in world units: the middle of the middle reach between its sites. */
function stepPlaces(data) {
  const { from, to } = data.steps;
  return from.map((upper, n) => {
    const [top, bottom] = [data.sites.reach[upper], data.sites.reach[to[n]]];
    const way = [];
    for (let i = top; i >= 0 && way.length < data.reaches.n; i = i === bottom ? -1 : data.reaches.down[i]) way.push(i);
    if (!way.length || way[way.length - 1] !== bottom) return null;
    if (way.length === 1) return betweenSites(data, upper, to[n]);
    return middleOf(data.reaches.shapes, way[Math.floor((way.length - 1) / 2)]);
  });
}

function betweenSites({ sites: { snapped } }, a, b) {
  return { x: (snapped.x[a] + snapped.x[b]) / 2, y: (snapped.y[a] + snapped.y[b]) / 2 };
}

function layOutSteps(data, view, taken, kept) {
  if (!data.steps) return [];
  data.steps.places ??= stepPlaces(data);
  const size = (n) => Math.abs(data.steps.change[n] ?? 0);
  return range(data.steps.n).sort((a, b) => size(b) - size(a) || a - b).flatMap((n) => {
    const place = data.steps.places[n];
    if (!place || (kept && !kept[data.steps.from[n]] && !kept[data.steps.to[n]])) return [];
    const [x, y] = [view.x(place.x), view.y(place.y)];
    if (!onCanvas(x, y, view)) return [];
    const spot = STEP_SPOTS.find(([dx, dy]) => taken.claim([boxAbout(x + dx, y + dy, BADGE_RADIUS)]));
    return spot ? [{ n, x: x + spot[0], y: y + spot[1] }] : [];
  });
}

function paintStep(context, x, y, kind) {
  context.save();
  context.translate(x, y);
  context.beginPath();
  context.roundRect(-BADGE_RADIUS, -BADGE_RADIUS + 1, 2 * BADGE_RADIUS, 2 * BADGE_RADIUS - 2, 3);
  context.fillStyle = styleColour("paper");
  context.strokeStyle = styleColour(kind === STEP.worse ? "worsening" : "improving");
  context.lineWidth = 1.3;
  context.fill();
  context.stroke();
  context.lineWidth = 2.2;
  context.lineJoin = "miter";
  context.stroke(new Path2D(STEP_PATH[kind]));
  context.restore();
}

function stepIcon(kind) {
  const colour = styleColour(kind === STEP.worse ? "worsening" : "improving");
  return drawn("svg", { width: 20, height: 20, viewBox: "-10 -10 20 20", "aria-hidden": "true", class: "icon" },
    drawn("rect", { x: -8, y: -7, width: 16, height: 14, rx: 3, fill: styleColour("paper"), stroke: colour, "stroke-width": 1.3 }),
    drawn("path", { d: STEP_PATH[kind], fill: "none", stroke: colour, "stroke-width": 2.2 }));
}

function stepSection(data) {
  const { kind, pairs, larger } = data.steps;
  const count = (which) => figure(kind.filter((one) => one === which).length);
  return {
    layer: "steps",
    title: "Steps along the flow",
    note: pairs
      ? `Clear changes of score between two neighbouring sites; ${counted(pairs, "pair", "pairs")} looked at. In ${figure(larger.filter(Boolean).length)} of the clear ones the lower site lies on a larger stream that the upper one\u2019s enters. Marks without room are left out; the tab Steps has all.`
      : "No two sampled sites are known to lie one below the other along the flow.",
    rows: [legendTable(["", "Going downstream", "Steps"], [[stepIcon(STEP.worse), "Worse below", count(STEP.worse)], [stepIcon(STEP.better), "Better below", count(STEP.better)]])],
  };
}

/** The clear steps above and below a site, in words. */
function stepBlock(data, site, choose) {
  const { steps, index } = data;
  if (!steps) return null;
  const own = picked(steps.kind.length, (n) => steps.from[n] === site || steps.to[n] === site);
  if (!own.length) return null;
  const line = (n) => {
    const below = steps.to[n] === site;
    const change = `${index.label} ${signed(steps.change[n], index.decimals)} going downstream`;
    const interval = missing(steps.low[n]) ? "" : `, 90 % interval ${signed(steps.low[n], index.decimals)} to ${signed(steps.high[n], index.decimals)}`;
    return element("li", {}, stepIcon(steps.kind[n]), ` ${steps.kind[n] === STEP.worse ? "Worse" : "Better"} ${below ? "here than at" : "below, at"} `,
      placeLink(data, "site", below ? steps.from[n] : steps.to[n], choose),
      `, ${kilometres(steps.km[n])} along the flow: ${change}${interval}, ${pValue(steps.p[n])} (adjusted), ${counted(steps.nPairs[n], "pair")} of samples.`,
      steps.tributaries[n] ? ` Joining in between: ${steps.tributaries[n]}. ` : " ",
      element("button", { type: "button", class: "link", onclick: () => choose({ kind: "step", i: n }) }, "More on this step"));
  };
  return [element("h3", {}, "Steps along the flow"), element("ul", { class: "neighbours" }, own.map(line))];
}

/** Give each step an id and a name as other places have; no two steps have the same two ends. */
function nameSteps({ steps, sites }) {
  const both = (texts, n) => `${texts[steps.from[n]]} \u2192 ${texts[steps.to[n]]}`;
  const list = range(steps.kind.length);
  Object.assign(steps, { n: list.length, id: list.map((n) => both(sites.id, n)), name: list.map((n) => (sites.name[steps.from[n]] || sites.name[steps.to[n]] ? both(sites.name, n) : "")) });
}

function stepWord(steps, n) {
  return steps.kind[n] === STEP.worse ? "worse below" : "better below";
}

function stepChange({ index, steps }, n) {
  return `${index.label} ${signed(steps.change[n], index.decimals)} going downstream`;
}

/** "S01 \u2192 S02: worse below, Index +0.75 going downstream" */
function stepWords(data, n) {
  return `${data.steps.id[n]}: ${stepWord(data.steps, n)}, ${stepChange(data, n)}`;
}

/** Columns of the table of steps: the greatest worsening first. */
function stepColumns(data) {
  const { steps, index } = data;
  const worse = index.better === "low" ? 1 : -1;
  return [
    { head: "Downstream", value: (n) => (missing(steps.change[n]) ? null : worse * steps.change[n]), cell: (n) => element("span", { class: "trend-cell" }, stepIcon(steps.kind[n]), element("span", {}, stepWord(steps, n))) },
    { head: "Change", number: true, value: (n) => steps.change[n], cell: (n) => signed(steps.change[n], index.decimals) },
    { head: "km", number: true, minor: true, value: (n) => steps.km[n], cell: (n) => figure(steps.km[n], 1) },
    { head: "p, adjusted", number: true, minor: true, value: (n) => steps.p[n], cell: (n) => pValue(steps.p[n]).replace("p = ", "").replace("p < ", "< ") },
  ];
}

/** What a row holds when steps are downloaded, under the names of the table written beside the page. */
function stepFields({ steps, sites }) {
  return [
    ["site_upstream", (n) => sites.id[steps.from[n]]],
    ["site_downstream", (n) => sites.id[steps.to[n]]],
    ["distance_km", (n) => steps.km[n]],
    ["n_pairs", (n) => steps.nPairs[n]],
    ["first_year", (n) => steps.firstYear[n]],
    ["last_year", (n) => steps.lastYear[n]],
    ["step_estimate", (n) => steps.change[n]],
    ["step_low", (n) => steps.low[n]],
    ["step_high", (n) => steps.high[n]],
    ["p_adjusted", (n) => steps.p[n]],
    ["step", (n) => (steps.kind[n] === STEP.worse ? "worse downstream" : "better downstream")],
    ["tributaries", (n) => steps.ids[n]],
    ["tributary_names", (n) => steps.tributaries[n]],
    ["tributary_scores", (n) => steps.scores[n]],
    ["larger_joins", (n) => String(steps.larger[n])],
  ];
}

/** What is known of one step: both sites, the change, what it rests on, and what joins in between. */
function stepPanel(data, n, choose) {
  const { steps, index } = data;
  const interval = missing(steps.low[n]) ? "unknown" : `${signed(steps.low[n], index.decimals)} to ${signed(steps.high[n], index.decimals)}`;
  const years = missing(steps.firstYear[n]) ? "" : steps.firstYear[n] === steps.lastYear[n] ? `, ${steps.firstYear[n]}` : `, ${steps.firstYear[n]} to ${steps.lastYear[n]}`;
  const end = (words, site) => element("li", {}, `${words}: `, placeLink(data, "site", site, choose), " ", classChip(data, "site", site, staleWords(data.sites, site)));
  return [
    element("p", { class: "trend" }, stepIcon(steps.kind[n]),
      element("span", {}, element("b", {}, sentence(steps.kind[n] === STEP.worse ? "worse downstream" : "better downstream")), `: ${stepChange(data, n)} (90 % interval ${interval}), ${pValue(steps.p[n])}, adjusted for all pairs tested.`)),
    steps.larger[n] ? element("p", { class: "caution" }, "A larger stream joins between the two sites: the upper one lies on a tributary that enters it. So the step compares the tributary with the stream that it enters, not one stream with itself.") : null,
    element("ul", { class: "neighbours" }, end("Upper site", steps.from[n]), end("Lower site", steps.to[n])),
    joinBlock(data, n, choose),
    factList([
      ["Distance", `${kilometres(steps.km[n])} along the flow`],
      ["Compared", `${counted(steps.nPairs[n], "pair")} of samples${years}`],
    ]),
    element("p", { class: "note" }, "A step says where the score changes, not why: all that differs between the two sites is in it, their habitat too."),
  ];
}

/** The streams that join between the sites of a step, with their scores. */
function joinBlock(data, n, choose) {
  const { steps, index } = data;
  const title = element("h3", {}, "Joining between the two");
  if (!steps.ids[n]) return [title, element("p", {}, "No stream of this layer.")];
  const joins = steps.joins[n];
  const scores = steps.scores[n].split("; ");
  if (!joins.length) return [title, element("p", {}, `${steps.tributaries[n] || steps.ids[n]}; ${index.label}: ${steps.scores[n] || UNKNOWN}`)];
  const score = (reach, at) => (scores.length === joins.length && scores[at] ? scores[at] : figure(data.reaches.score[reach], index.decimals));
  return [title, element("ul", { class: "neighbours" }, joins.map((reach, at) =>
    element("li", {}, placeLink(data, "reach", reach, choose), ` ${index.label}: ${score(reach, at)} `, classChip(data, "reach", reach))))];
}

/** Rings about the mark of a step and about both of its sites; none where they are out of view. */
function stepRings(data, layout, n) {
  const mark = layout.steps.find((step) => step.n === n);
  const ends = layout.siteList.filter(({ i }) => i === data.steps.from[n] || i === data.steps.to[n]);
  return [mark ? { x: mark.x, y: mark.y, radius: BADGE_RADIUS + 4 } : null, ...ends.map(({ x, y, radius }) => ({ x, y, radius: radius + 5 }))];
}

/** What holds both sites of a step, from what holds each; null where neither has a place. */
function stepBounds({ steps }, n, boundsOf) {
  const [upper, lower] = [boundsOf(steps.from[n]), boundsOf(steps.to[n])];
  return upper && lower ? upper.extend(lower) : upper ?? lower;
}
