// Shapes in world units: Web Mercator, 256 units across at zoom 0, so that screen = world * 2^zoom - origin.

const STEPS_PER_DEGREE = 100000;
const WORLD = 256;

function worldX(longitude) {
  return ((longitude + 180) / 360) * WORLD;
}

function worldY(latitude) {
  const sine = Math.sin((latitude * Math.PI) / 180);
  return (0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI)) * WORLD;
}

/**
 * Decode delta-coded parts into flat arrays: shape i has the parts firstPart[i] to firstPart[i + 1], part j the
 * vertices firstVertex[j] to firstVertex[j + 1]; box holds west, north, east, south of each shape.
 */
function decodeShapes(code) {
  const firstPart = runningSum(code.parts);
  const firstVertex = runningSum(code.sizes);
  const n = code.xy.length / 2;
  const shapes = { n: code.parts.length, firstPart, firstVertex, x: new Float64Array(n), y: new Float64Array(n) };
  let longitude = 0;
  let latitude = 0;
  for (let i = 0; i < n; i += 1) {
    longitude += code.xy[2 * i];
    latitude += code.xy[2 * i + 1];
    shapes.x[i] = worldX(longitude / STEPS_PER_DEGREE);
    shapes.y[i] = worldY(latitude / STEPS_PER_DEGREE);
  }
  shapes.box = boxes(shapes);
  return shapes;
}

function decodePoints(code) {
  const project = (values, way) =>
    Float64Array.from(values, (value) => (value === null ? NaN : way(value / STEPS_PER_DEGREE)));
  return { n: code.x.length, x: project(code.x, worldX), y: project(code.y, worldY) };
}

function runningSum(counts) {
  const sums = new Uint32Array(counts.length + 1);
  counts.forEach((count, i) => {
    sums[i + 1] = sums[i] + count;
  });
  return sums;
}

/** First and last vertex (exclusive) of a shape; its parts lie next to each other. */
function vertexRange(shapes, i) {
  return [shapes.firstVertex[shapes.firstPart[i]], shapes.firstVertex[shapes.firstPart[i + 1]]];
}

function boxes(shapes) {
  const box = new Float64Array(4 * shapes.n);
  for (let i = 0; i < shapes.n; i += 1) {
    box.set([Infinity, Infinity, -Infinity, -Infinity], 4 * i);
    const [first, end] = vertexRange(shapes, i);
    for (let v = first; v < end; v += 1) {
      box[4 * i] = Math.min(box[4 * i], shapes.x[v]);
      box[4 * i + 1] = Math.min(box[4 * i + 1], shapes.y[v]);
      box[4 * i + 2] = Math.max(box[4 * i + 2], shapes.x[v]);
      box[4 * i + 3] = Math.max(box[4 * i + 3], shapes.y[v]);
    }
  }
  return box;
}

/** Box around several sets of boxes and points; null when there is nothing. */
function boundsOf(shapeSets, pointSets) {
  const all = [Infinity, Infinity, -Infinity, -Infinity];
  const widen = (x, y) => {
    if (!Number.isFinite(x) || !Number.isFinite(y)) return;
    all[0] = Math.min(all[0], x);
    all[1] = Math.min(all[1], y);
    all[2] = Math.max(all[2], x);
    all[3] = Math.max(all[3], y);
  };
  for (const { box } of shapeSets) for (let i = 0; i < box.length; i += 2) widen(box[i], box[i + 1]);
  for (const points of pointSets) points.x.forEach((x, i) => widen(x, points.y[i]));
  return all[0] <= all[2] ? all : null;
}

/** Whether a shape can be seen in a view (see canvas.js). */
function inView(shapes, i, view) {
  const { west, north, east, south } = view;
  const at = 4 * i;
  return shapes.box[at] <= east && shapes.box[at + 2] >= west && shapes.box[at + 1] <= south && shapes.box[at + 3] >= north;
}

/** The middle of the longest part of a line, along the line. */
function middleOf(shapes, i) {
  let best = null;
  for (let part = shapes.firstPart[i]; part < shapes.firstPart[i + 1]; part += 1) {
    const length = partLength(shapes, part);
    if (best === null || length > best.length) best = { part, length };
  }
  return best === null ? { x: NaN, y: NaN } : pointAlong(shapes, best.part, best.length / 2);
}

function partLength(shapes, part) {
  let length = 0;
  for (let v = shapes.firstVertex[part] + 1; v < shapes.firstVertex[part + 1]; v += 1) length += stepLength(shapes, v);
  return length;
}

function stepLength(shapes, v) {
  return Math.hypot(shapes.x[v] - shapes.x[v - 1], shapes.y[v] - shapes.y[v - 1]);
}

/** The point at a distance along a part, in world units. */
function pointAlong(shapes, part, distance) {
  const first = shapes.firstVertex[part];
  const end = shapes.firstVertex[part + 1];
  if (shapes.along) return pointAlongKnown(shapes, first, end, distance);
  for (let v = first + 1; v < end; v += 1) {
    const step = stepLength(shapes, v);
    if (distance <= step && step > 0) {
      const share = distance / step;
      return {
        x: shapes.x[v - 1] + share * (shapes.x[v] - shapes.x[v - 1]),
        y: shapes.y[v - 1] + share * (shapes.y[v] - shapes.y[v - 1]),
      };
    }
    distance -= step;
  }
  return { x: shapes.x[end - 1], y: shapes.y[end - 1] };
}

/** The same where the distance of every vertex along its part is known. */
function pointAlongKnown({ x, y, along }, first, end, distance) {
  let low = first;
  let high = end - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (along[middle] < distance) low = middle + 1;
    else high = middle;
  }
  if (low === first || distance > along[low]) return { x: x[low], y: y[low] };
  const share = (distance - along[low - 1]) / (along[low] - along[low - 1]);
  return { x: x[low - 1] + share * (x[low] - x[low - 1]), y: y[low - 1] + share * (y[low] - y[low - 1]) };
}

/** Distance from a point to the nearest segment of a line. */
function distanceTo(shapes, i, x, y) {
  let nearest = Infinity;
  for (let part = shapes.firstPart[i]; part < shapes.firstPart[i + 1]; part += 1) {
    for (let v = shapes.firstVertex[part] + 1; v < shapes.firstVertex[part + 1]; v += 1) {
      nearest = Math.min(nearest, segmentDistance(shapes.x[v - 1], shapes.y[v - 1], shapes.x[v], shapes.y[v], x, y));
    }
  }
  return nearest;
}

function segmentDistance(ax, ay, bx, by, x, y) {
  const dx = bx - ax;
  const dy = by - ay;
  const square = dx * dx + dy * dy;
  const share = square === 0 ? 0 : Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / square));
  return Math.hypot(x - ax - share * dx, y - ay - share * dy);
}

/** Whether a point lies inside an odd number of the rings of a shape. */
function contains(shapes, i, x, y) {
  let inside = false;
  for (let ring = shapes.firstPart[i]; ring < shapes.firstPart[i + 1]; ring += 1) {
    const end = shapes.firstVertex[ring + 1];
    let before = end - 1;
    for (let v = shapes.firstVertex[ring]; v < end; v += 1) {
      const crosses = shapes.y[v] > y !== shapes.y[before] > y;
      const where = ((shapes.x[before] - shapes.x[v]) * (y - shapes.y[v])) / (shapes.y[before] - shapes.y[v]) + shapes.x[v];
      if (crosses && x < where) inside = !inside;
      before = v;
    }
  }
  return inside;
}

/**
 * Squares over the boxes of shapes, to find those near a point without looking at all of them: the shapes of
 * square c are listed from first[c] to first[c + 1].
 */
class BoxGrid {
  constructor(shapes) {
    this.perSide = Math.max(8, Math.min(512, Math.ceil(Math.sqrt(shapes.n / 4))));
    const all = boundsOf([shapes], []) ?? [0, 0, 1, 1];
    [this.west, this.north] = all;
    this.size = Math.max(all[2] - all[0], all[3] - all[1], 1e-9) / this.perSide;
    const counts = new Uint32Array(this.perSide ** 2);
    this.eachCell(shapes, (cell) => { counts[cell] += 1; });
    this.first = runningSum(counts);
    this.list = new Uint32Array(this.first[counts.length]);
    this.eachCell(shapes, (cell, i) => {
      counts[cell] -= 1;
      this.list[this.first[cell] + counts[cell]] = i;
    });
  }

  eachCell({ n, box }, visit) {
    for (let i = 0; i < n; i += 1) {
      if (box[4 * i] <= box[4 * i + 2]) this.cover(box[4 * i], box[4 * i + 1], box[4 * i + 2], box[4 * i + 3], (cell) => visit(cell, i));
    }
  }

  cover(west, north, east, south, visit) {
    const clamp = (value) => Math.min(this.perSide - 1, Math.max(0, Math.floor(value / this.size)));
    const [left, right] = [clamp(west - this.west), clamp(east - this.west)];
    const bottom = clamp(south - this.north);
    for (let row = clamp(north - this.north); row <= bottom; row += 1) {
      for (let column = left; column <= right; column += 1) visit(row * this.perSide + column);
    }
  }

  /** Shapes near a point; one that covers several squares may stand more than once. */
  near(x, y, reach) {
    const found = [];
    this.cover(x - reach, y - reach, x + reach, y + reach, (cell) => {
      for (let at = this.first[cell]; at < this.first[cell + 1]; at += 1) found.push(this.list[at]);
    });
    return found;
  }
}
