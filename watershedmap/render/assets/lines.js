// Reaches as lines, batched by how they look, and as coarse as the zoom allows.

const FAR = 0.6; // thinness below which dashes and edges could not be told apart
const CLEAR_LENGTH = 14; // length of a usual reach, pixels, from which lines have their full width
const SEGMENT = 2.4; // pixels that one straight piece of a line stands for, at least
const FADED = 0; // group of the reaches that the filters leave out

class ReachLines {
  constructor(data) {
    this.data = data;
    this.usual = usualExtent(data.reaches.shapes);
    this.group(null);
  }

  /** Sort reaches into groups of one look, and those of a group into runs; `kept` says which pass the filters. */
  group(kept) {
    const { reaches, k } = this.data;
    const groups = new Int32Array(reaches.n);
    const { rank, evidence } = reaches;
    const unsure = Uint8Array.from(reaches.certainty, (certainty, i) => isUncertain(this.data, reaches, i));
    const looks = 1 + 2 * (1 + 2 * k);
    for (let i = 0; i < reaches.n; i += 1) {
      if (kept && !kept[i]) groups[i] = FADED;
      else groups[i] = rank[i] < 0 ? 1 : 2 + 2 * ((1 - Math.min(1, evidence[i])) * k + rank[i]) + unsure[i];
    }
    const { order, starts } = chainRuns(groups, reaches.down);
    this.groups = this.split(groups, order, starts, looks + 1);
  }

  /** The runs of each group that has any: unassessed, inferred, measured; the worst class last, on top. */
  split(groups, order, starts, most) {
    const members = Array.from({ length: most }, () => []);
    for (let run = 0; run + 1 < starts.length; run += 1) {
      const own = members[groups[order[starts[run]]]];
      for (let at = starts[run]; at < starts[run + 1]; at += 1) own.push(at === starts[run] ? ~order[at] : order[at]); // ~ marks a head
    }
    return members.flatMap((list, group) => (list.length ? [{ group, look: this.lookOf(group, list[0]), members: Int32Array.from(list) }] : []));
  }

  lookOf(group, head) {
    const i = head < 0 ? ~head : head;
    if (group === FADED) return (thin) => ({ colour: styleColour("faded"), width: Math.max(0.8, 1.6 * thin), dash: [], casing: 0 });
    const { reaches } = this.data;
    const [evidence, rank, unsure] = [reaches.evidence[i], reaches.rank[i], isUncertain(this.data, reaches, i)];
    return (thin) => farLook(lineLook(this.data, evidence, rank, unsure), thin);
  }

  /** 1 where lines have their full width; less, down to a quarter, where reaches are short on the screen. */
  thinness(view) {
    return Math.max(0.25, Math.min(1, (this.usual * view.scale) / CLEAR_LENGTH));
  }

  paint(context, view) {
    const thin = this.thinness(view);
    context.lineJoin = thin < FAR ? "bevel" : "round";
    const drawn = this.groups.map(({ look, members }) => ({ strokes: lineStrokes(look(thin)), path: this.trace(members, view, thin) }));
    for (const level of ["casing", "broken", "line"]) {
      for (const { strokes, path } of drawn) if (strokes[level]) strokePath(context, path, strokes[level], thin);
    }
  }

  /** The runs of a group as one path. */
  trace(members, view, thin) {
    const { shapes } = this.data.reaches;
    const { box, firstPart } = shapes;
    const path = new Path2D();
    const pen = { path, x: NaN, y: NaN, endX: NaN, endY: NaN };
    for (const member of members) {
      const i = member < 0 ? ~member : member;
      const at = 4 * i;
      if (!(box[at] <= view.east && box[at + 2] >= view.west && box[at + 1] <= view.south && box[at + 3] >= view.north)) {
        pen.x = NaN;
        continue;
      }
      if (member < 0) pen.x = NaN;
      const extent = (box[at + 2] - box[at] + box[at + 3] - box[at + 1]) * view.scale;
      for (let part = firstPart[i]; part < firstPart[i + 1]; part += 1) tracePart(pen, shapes, part, view, extent, thin < FAR ? 1.4 : 0.8);
    }
    return path;
  }
}

/** Some reaches, in any order, as one path. */
function traceMembers(shapes, members, view, thin) {
  const path = new Path2D();
  const pen = { path, x: NaN, y: NaN, endX: NaN, endY: NaN };
  for (const i of members) {
    if (!inView(shapes, i, view)) continue;
    const extent = (shapes.box[4 * i + 2] - shapes.box[4 * i] + shapes.box[4 * i + 3] - shapes.box[4 * i + 1]) * view.scale;
    for (let part = shapes.firstPart[i]; part < shapes.firstPart[i + 1]; part += 1) tracePart(pen, shapes, part, view, extent, thin < FAR ? 1.4 : 0.8);
  }
  return path;
}

/** Go along a part, on from where the pen is if it ended there; leave out what could not be seen. */
function tracePart(pen, { x, y, firstVertex }, part, view, extent, apart) {
  const first = firstVertex[part];
  const last = firstVertex[part + 1] - 1;
  const stride = Math.max(1, Math.floor(((last - first) * SEGMENT) / Math.max(SEGMENT, extent)));
  const startX = view.x(x[first]);
  const startY = view.y(y[first]);
  if (!(Math.abs(startX - pen.endX) + Math.abs(startY - pen.endY) < 0.5) || Number.isNaN(pen.x)) {
    pen.path.moveTo(startX, startY);
    pen.x = startX;
    pen.y = startY;
  }
  for (let v = first + stride; v < last; v += stride) stepTo(pen, view.x(x[v]), view.y(y[v]), apart);
  pen.endX = view.x(x[last]);
  pen.endY = view.y(y[last]);
  stepTo(pen, pen.endX, pen.endY, apart > 1 ? 0.5 : 0);
}

function stepTo(pen, x, y, apart) {
  if (Math.abs(x - pen.x) + Math.abs(y - pen.y) < apart) return;
  pen.path.lineTo(x, y);
  pen.x = x;
  pen.y = y;
}

/** Far out a line is thinner, an inferred one has neither gaps nor edge, and only a measured one keeps its edge. */
function farLook(look, thin) {
  if (thin >= 1) return look;
  if (look.dash.length && thin < FAR) return { ...look, width: Math.max(1.4, 0.8 * look.width * thin), dash: [], casing: 0, broken: false };
  const width = look.casing ? Math.max(2, look.width * Math.max(FAR, thin)) : Math.max(0.5, look.width * thin);
  return { ...look, width };
}

function strokePath(context, path, { colour, width, dash, shift }, thin) {
  context.strokeStyle = colour;
  context.lineWidth = width;
  context.lineCap = dash.length || thin < FAR ? "butt" : "round";
  context.setLineDash(dash);
  context.lineDashOffset = shift;
  context.stroke(path);
  context.setLineDash([]);
}

/** Extent of a usual reach in world units: the middle one of a sample. */
function usualExtent({ n, box }) {
  const every = Math.max(1, Math.floor(n / 2000));
  const extents = [];
  for (let i = 0; i < n; i += every) {
    const extent = Math.hypot(box[4 * i + 2] - box[4 * i], box[4 * i + 3] - box[4 * i + 1]);
    if (Number.isFinite(extent)) extents.push(extent);
  }
  extents.sort((a, b) => a - b);
  return extents[Math.floor(extents.length / 2)] ?? 1;
}
