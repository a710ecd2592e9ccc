// Where badges and names go so that they do not cover each other: the weightier one is placed first.

/** Boxes already taken, kept in coarse squares so that a look-up does not visit all of them. */
class Occupancy {
  constructor(square = 64) {
    this.square = square;
    this.cells = new Map();
  }

  *keys([west, north, east, south]) {
    const cell = (value) => Math.floor(value / this.square);
    for (let row = cell(north); row <= cell(south); row += 1) {
      for (let column = cell(west); column <= cell(east); column += 1) yield `${row},${column}`;
    }
  }

  isFree(box) {
    for (const key of this.keys(box)) {
      for (const other of this.cells.get(key) ?? []) {
        if (box[0] < other[2] && other[0] < box[2] && box[1] < other[3] && other[1] < box[3]) return false;
      }
    }
    return true;
  }

  take(box) {
    for (const key of this.keys(box)) {
      if (!this.cells.has(key)) this.cells.set(key, []);
      this.cells.get(key).push(box);
    }
  }

  /** Take all boxes when every one of them is free. */
  claim(boxes) {
    if (!boxes.every((box) => this.isFree(box))) return false;
    boxes.forEach((box) => this.take(box));
    return true;
  }
}

function boxAbout(x, y, halfWidth, halfHeight = halfWidth) {
  return [x - halfWidth, y - halfHeight, x + halfWidth, y + halfHeight];
}

/** Whether a point lies on the part of a canvas that a reader can see, or just beyond. */
function onCanvas(x, y, view) {
  return x > -20 && y > -20 && x < view.width + 20 && y < view.height + 20;
}

const MOST_TO_PART = 400; // sites in view; where there are more, the reader has to zoom in anyway

const COVERED = 0.05; // share of the ground that circles may cover before they shrink
const SMALLEST_NUMBERED = 7; // radius below which a site is a dot without its number

/** Radius of a site, pixels: less where they are many, and a dot where they would hide the streams. */
function siteRadius(data, view, fitZoom) {
  const { sites } = data;
  const usual = (sites.n > 60 || view.width < 640) && view.zoom < fitZoom + 0.5 ? 9 : 11;
  const seen = picked(sites.n, (i) => onCanvas(view.x(sites.points.x[i]), view.y(sites.points.y[i]), view)).length;
  data.siteBox ??= boundsOf([], [sites.points]) ?? [0, 0, 0, 0];
  const [west, north, east, south] = data.siteBox;
  const ground = Math.min(view.width, (east - west) * view.scale + 100) * Math.min(view.height, (south - north) * view.scale + 100);
  const covered = (seen * Math.PI * usual ** 2) / ground;
  return covered <= 1.5 * COVERED || seen < 40 ? usual : Math.max(3.5, usual * Math.sqrt(COVERED / covered));
}

/** Sites of the view: those without a class below, then from the best class to the worst on top. */
function layOutSites(data, view, fitZoom, kept) {
  const { sites } = data;
  const radius = siteRadius(data, view, fitZoom);
  const list = picked(sites.n, (i) => !kept || kept[i])
    .map((i) => ({ i, trueX: view.x(sites.points.x[i]), trueY: view.y(sites.points.y[i]), radius }))
    .filter((site) => onCanvas(site.trueX, site.trueY, view))
    .sort((a, b) => sites.rank[a.i] - sites.rank[b.i] || a.i - b.i);
  if (radius < SMALLEST_NUMBERED) return list.map((site) => ({ ...site, radius: dotRadius(data, site.i, radius), x: site.trueX, y: site.trueY }));
  return list.length > MOST_TO_PART ? list.map((site) => ({ ...site, x: site.trueX, y: site.trueY })) : partSites(list);
}

/** A dot has no number: its size is the second cue beside colour, larger where condition is worse, as lines are wider. */
function dotRadius({ sites, k }, i, radius) {
  return Math.min(SMALLEST_NUMBERED - 0.1, radius * (0.75 + (0.6 * Math.max(0, sites.rank[i])) / Math.max(1, k - 1)));
}

/** Move sites that would cover a worse one to the nearest free spot; a line is drawn to their true place. */
function partSites(list) {
  const placed = [];
  for (let n = list.length - 1; n >= 0; n -= 1) placed.unshift(partSite(list[n], placed, list.slice(0, n)));
  return placed;
}

function partSite(site, placed, rest) {
  const room = 1.8 * site.radius;
  const clear = (x, y, others) => others.every((other) => Math.hypot(other.x - x, other.y - y) >= room);
  const home = { ...site, x: site.trueX, y: site.trueY };
  if (clear(home.x, home.y, placed)) return home;
  const close = (x, y) => Math.abs(x - home.x) < 5 * site.radius && Math.abs(y - home.y) < 5 * site.radius; // all that a spot can touch
  const others = [
    ...placed.filter(({ x, y }) => close(x, y)),
    ...rest.filter(({ trueX, trueY }) => close(trueX, trueY)).map(({ trueX, trueY }) => ({ x: trueX, y: trueY })),
  ];
  const spots = [1, 1.5, 2, 2.6].flatMap((far) => range(16).map((n) => {
    const angle = (n * Math.PI) / 8;
    return { ...site, x: site.trueX + far * site.radius * Math.cos(angle), y: site.trueY + far * site.radius * Math.sin(angle) };
  }));
  return spots.find((spot) => clear(spot.x, spot.y, others)) ?? home;
}

/** Badges of the view. Far out only clear trends are shown; where there is no room, none is forced in. */
function layOutBadges(data, view, taken, fitZoom, siteList, kept) {
  const { shapes, trend } = data.reaches;
  const drawnSites = new Map(siteList.map((site) => [site.i, site]));
  const most = view.zoom >= fitZoom + 1.5 ? TREND.tooFew : view.zoom >= fitZoom + 0.75 ? TREND.unclear : TREND.worsening;
  return trendsByWeight(data)
    .filter((i) => trend[i] <= most && (!kept || kept[i]) && inView(shapes, i, view))
    .map((i) => placeBadge(data, i, view, taken, drawnSites))
    .filter(Boolean);
}

/** Reaches that have a trend, the one that most asks to be seen first. */
function trendsByWeight(data) {
  const { n, trend, p } = data.reaches;
  data.weighed ??= picked(n, (i) => trend[i] >= 0)
    .map((i) => ({ i, weight: trendWeight(trend[i], p[i]) }))
    .sort((a, b) => a.weight - b.weight || a.i - b.i)
    .map(({ i }) => i);
  return data.weighed;
}

function placeBadge(data, reach, view, taken, drawnSites) {
  const anchor = badgeAnchor(data, reach, view, drawnSites);
  const { x, y } = anchor;
  if (!onCanvas(x, y, view)) return null;
  const size = BADGE_RADIUS + (drawnSites.size > 60 ? 6 : 1); // among many sites, fewer badges
  const gap = anchor.beside ? 15 : 11;
  const places = [[gap, -gap], [-gap, -gap], [gap, gap], [-gap, gap], [1.4 * gap, 0], [-1.4 * gap, 0]];
  const clear = data.reaches.trend[reach] === TREND.improving || data.reaches.trend[reach] === TREND.worsening;
  const farther = clear ? [...places, ...places.map(([dx, dy]) => [1.7 * dx, 1.7 * dy])] : []; // a clear trend is worth a search
  const found = places.find(([dx, dy]) => taken.claim([boxAbout(x + dx, y + dy, size)]))
    ?? farther.find(([dx, dy]) => taken.claim([boxAbout(x + dx, y + dy, BADGE_RADIUS + 1)]));
  return found ? { reach, x: x + found[0], y: y + found[1], trend: data.reaches.trend[reach] } : null;
}

/** A badge sits beside the first site of its reach, or beside the middle of the line. */
function badgeAnchor(data, reach, view, drawnSites) {
  const site = data.reaches.sites.of(reach).map((i) => drawnSites.get(i)).find(Boolean);
  if (site) return { x: site.x, y: site.y, beside: true };
  const middle = middleOf(data.reaches.shapes, reach);
  return { x: view.x(middle.x), y: view.y(middle.y), beside: false };
}

/** Names of sites, sub-watersheds and streams, in the order of their weight; of sites the worst class first. */
function layOutLabels(data, view, context, taken, shown) {
  const labels = [];
  if (shown.sites) labels.push(...labelSites(data, view, context, taken, shown.siteList));
  if (shown.areas && data.areas) labels.push(...labelAreas(data, view, context, taken));
  if (shown.reaches) labels.push(...labelStreams(data, view, context, taken));
  return labels;
}

const LABEL = {
  area: { font: `600 12px ${FONT}`, colour: "label-area", spacing: "0.06em", height: 13 },
  site: { font: `600 11px ${FONT}`, colour: "ink", spacing: "0px", height: 12 },
  stream: { font: `italic 13.5px ${WATER_FONT}`, colour: "water", spacing: "0.03em", height: 14 },
};

function widthOf(context, text, style) {
  context.font = style.font;
  context.letterSpacing = style.spacing;
  return context.measureText(text).width;
}

/** Where the name of a sub-watershed may stand about its best place, pixels: the nearest first. */
const AREA_SHIFTS = [0, -20, 20, -40, 40, -60, 60]
  .flatMap((dy) => [0, -25, 25, -50, 50].map((dx) => [dx, dy]))
  .sort((a, b) => Math.hypot(...a) - Math.hypot(...b));

function labelAreas(data, view, context, taken) {
  const { areas } = data;
  const inferredFirst = range(areas.n).sort((a, b) => (areas.evidence[b] === EVIDENCE.inferred) - (areas.evidence[a] === EVIDENCE.inferred));
  return inferredFirst.flatMap((i) => {
    if (!inView(areas.shapes, i, view)) return [];
    const room = 0.8 * (areas.shapes.box[4 * i + 2] - areas.shapes.box[4 * i]) * view.scale;
    const x = view.x(areas.points.x[i]);
    const y = view.y(areas.points.y[i]);
    for (const lines of areaTexts(data, i)) {
      const width = Math.max(...lines.map((line) => widthOf(context, line, LABEL.area)));
      const inside = ([dx, dy]) => contains(areas.shapes, i, areas.points.x[i] + dx / view.scale, areas.points.y[i] + dy / view.scale);
      const claim = ([dx, dy]) => taken.claim([boxAbout(x + dx, y + dy, width / 2 + 4, 2 + 7 * lines.length)]);
      const shift = width > room ? undefined : AREA_SHIFTS.find((spot) => inside(spot) && claim(spot));
      if (shift) return [{ text: lines.join("\n"), x: x + shift[0], y: y + shift[1], angle: 0, style: LABEL.area }];
    }
    return [];
  });
}

/** What may stand on a sub-watershed, as lines: with its name, or with its id where the name finds no room. */
function areaTexts(data, i) {
  const { areas } = data;
  const number = areas.rank[i] < 0 ? "\u2013" : classMark(areas.rank[i], isUncertain(data, areas, i));
  const evidence = evidenceWords(data, "area", i);
  if (data.period) return [[areas.name[i] || areas.id[i]], [areas.id[i]]]; // their class is of today
  return [areas.name[i] || areas.id[i], areas.id[i]].map((title) => [`${title} \u00b7 ${number}`, evidence].filter(Boolean));
}

const LONGEST_ID = 24;

function shorten(text) {
  const letters = [...text];
  return letters.length > LONGEST_ID ? `${letters.slice(0, LONGEST_ID - 1).join("")}\u2026` : text;
}

function labelSites(data, view, context, taken, siteList) {
  if (siteList[0]?.radius < SMALLEST_NUMBERED) return [];
  return [...siteList].reverse().flatMap(({ i, x, y, radius }) => {
    const text = shorten(data.sites.id[i]);
    const half = widthOf(context, text, LABEL.site) / 2;
    const side = half + radius + 5;
    const [aslant, away] = [half + 0.6 * radius, radius + 8];
    const places = [[0, radius + 9], [side, 0], [-side, 0], [0, -radius - 9], [aslant, away], [-aslant, away], [aslant, -away], [-aslant, -away]];
    const found = places.find(([dx, dy]) => taken.claim([boxAbout(x + dx, y + dy, half + 2, 7)]));
    return found ? [{ text, x: x + found[0], y: y + found[1], angle: 0, style: LABEL.site }] : [];
  });
}

const MOST_STREAMS = 150; // runs of a name that are tried: the longest in view
const LETTER = 4.5; // pixels that a letter of a name takes at least

/** One name per stream: on its longest run that has room for it. */
function labelStreams(data, view, context, taken) {
  const { name, shapes } = data.streams;
  const done = new Set();
  const labels = [];
  let tried = 0;
  for (let run = 0; run < name.length && tried < MOST_STREAMS; run += 1) {
    const length = shapes.along[shapes.firstVertex[run + 1] - 1] * view.scale;
    if (!(length > LETTER * name[run].length) || done.has(name[run]) || !inView(shapes, run, view)) continue;
    tried += 1;
    const label = labelAlong(shapes, run, name[run], view, context, taken);
    if (!label) continue;
    done.add(name[run]);
    labels.push(label);
  }
  return labels;
}

/** A name set along the first stretch of a line that is straight enough and has room, just above it. */
function labelAlong(shapes, part, text, view, context, taken) {
  const width = widthOf(context, text, LABEL.stream);
  const [from, to] = visibleStretch(shapes, part, view);
  const spare = to - from - width;
  const tries = spare < 8 ? 0 : Math.min(12, 1 + Math.ceil(spare / 50));
  for (const n of range(tries)) {
    // From the middle outwards, to either side in turn.
    const share = 0.5 + ((n % 2 ? 1 : -1) * Math.ceil(n / 2)) / Math.max(1, tries + 1);
    const label = placeAlong(shapes, part, from + share * spare, width, view);
    if (label && taken.claim(label.boxes)) return { ...label, text, style: LABEL.stream };
  }
  return null;
}

/** Longest stretch of a part whose vertices can all be seen: where it begins and ends, in pixels along it. */
function visibleStretch(shapes, part, view) {
  let best = [0, 0];
  let start = null;
  let along = 0;
  for (let v = shapes.firstVertex[part]; v < shapes.firstVertex[part + 1]; v += 1) {
    along = shapes.along[v] * view.scale;
    const x = view.x(shapes.x[v]) - view.pad.x;
    const y = view.y(shapes.y[v]) - view.pad.y;
    const seen = x > 0 && y > 0 && x < view.width - 2 * view.pad.x && y < view.height - 2 * view.pad.y;
    if (!seen) start = null;
    else start ??= along;
    if (seen && along - start > best[1] - best[0]) best = [start, along];
  }
  return best;
}

function placeAlong(shapes, part, start, width, view) {
  const at = (distance) => {
    const point = pointAlong(shapes, part, distance / view.scale);
    return [view.x(point.x), view.y(point.y)];
  };
  let [a, b] = [at(start), at(start + width)];
  if (a[0] > b[0]) [a, b] = [b, a];
  const chord = Math.hypot(b[0] - a[0], b[1] - a[1]);
  if (chord < 0.93 * width) return null;
  const angle = Math.atan2(b[1] - a[1], b[0] - a[0]);
  const lift = 12;
  const middle = at(start + width / 2);
  const x = middle[0] + lift * Math.sin(angle);
  const y = middle[1] - lift * Math.cos(angle);
  const n = Math.max(2, Math.ceil(width / 14));
  const boxes = range(n + 1).map((i) => {
    const along = (i / n - 0.5) * width;
    return boxAbout(x + along * Math.cos(angle), y + along * Math.sin(angle), 7);
  });
  return { x, y, angle, boxes };
}
