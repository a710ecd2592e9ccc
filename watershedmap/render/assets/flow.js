// The way of the water: everything upstream of a reach, and the way from it down to the outlet.

class FlowNetwork {
  constructor(reaches, branches) {
    this.down = reaches.down;
    const counts = new Uint32Array(reaches.n);
    const eachEdge = (visit) => {
      for (let i = 0; i < reaches.n; i += 1) if (this.down[i] >= 0) visit(i, this.down[i]);
      branches.up.forEach((up, n) => visit(up, branches.down[n]));
    };
    eachEdge((up, below) => { counts[below] += 1; });
    this.first = runningSum(counts);
    this.above = new Int32Array(this.first[reaches.n]);
    eachEdge((up, below) => {
      counts[below] -= 1;
      this.above[this.first[below] + counts[below]] = up;
    });
  }

  /** The reach and all that flow into it, by whatever way, each once. */
  upstream(reach) {
    const seen = new Uint8Array(this.down.length);
    const found = [reach];
    seen[reach] = 1;
    for (let at = 0; at < found.length; at += 1) {
      for (let edge = this.first[found[at]]; edge < this.first[found[at] + 1]; edge += 1) {
        const up = this.above[edge];
        if (!seen[up]) found.push(up);
        seen[up] = 1;
      }
    }
    return Int32Array.from(found);
  }

  /** The reaches below, down to the outlet, by the main branch where a stream divides. */
  wayDown(reach) {
    const way = [];
    const seen = new Set([reach]);
    for (let i = this.down[reach]; i >= 0 && !seen.has(i); i = this.down[i]) {
      seen.add(i);
      way.push(i);
    }
    return Int32Array.from(way);
  }
}

/** What a trace from a reach holds; null where the direction of flow is not known. */
function traceFrom(data, reach) {
  if (reach < 0 || missing(data.reaches.upKm[reach])) return null;
  data.flow ??= new FlowNetwork(data.reaches, data.branches);
  const up = data.flow.upstream(reach);
  const way = data.flow.wayDown(reach);
  const inside = new Uint8Array(data.reaches.n);
  const byClass = new Float64Array(data.k + 1);
  for (const i of up) inside[i] = 1;
  for (const i of up) byClass[data.reaches.rank[i] < 0 ? data.k : data.reaches.rank[i]] += data.reaches.lengthKm[i] || 0;
  const km = byClass.reduce((sum, part) => sum + part, 0);
  const sites = picked(data.sites.n, (site) => data.sites.reach[site] >= 0 && inside[data.sites.reach[site]]);
  return { reach, up, way, km, assessedKm: km - byClass[data.k], byClass: [...byClass], sites, wayKm: lengthOf(data.reaches, way) };
}

function lengthOf({ lengthKm }, members) {
  let km = 0;
  for (const i of members) km += lengthKm[i] || 0;
  return km;
}

const TRACE = { up: { colour: "trace-up", dash: [], grow: 9 }, way: { colour: "trace-down", dash: [3, 4], grow: 9 } };

/** Bands below the lines: upstream without a gap, the way down in short strokes. */
function paintTrace(context, data, view, trace, thin) {
  for (const part of ["up", "way"]) {
    const { colour, dash, grow } = TRACE[part];
    const path = traceMembers(data.reaches.shapes, trace[part], view, thin);
    context.lineJoin = "round";
    strokePath(context, path, { colour: styleColour(colour), width: Math.max(3, (grow + 4) * Math.max(0.35, thin)), dash, shift: 0 }, 1);
  }
}

function traceIcon(part) {
  const { colour, dash } = TRACE[part];
  return drawn("svg", { width: 34, height: 16, viewBox: "0 0 34 16", "aria-hidden": "true", class: "icon" },
    drawn("line", { x1: 1, x2: 33, y1: 8, y2: 8, stroke: styleColour(colour), "stroke-width": 10, "stroke-dasharray": dash.join(" ") || null }),
    drawn("line", { x1: 1, x2: 33, y1: 8, y2: 8, stroke: styleColour("nodata"), "stroke-width": 1.5 }));
}

/** The summary of a trace, for the panel. */
function traceBlock(data, trace, choose, clear) {
  const outlet = trace.way.length ? trace.way[trace.way.length - 1] : trace.reach;
  const words = trace.byClass.flatMap((km, rank) => (km ? [`${classWords(data, "reach", rank < data.k ? rank : -1)} ${kilometres(km)}`] : []));
  return element("section", { class: "trace", "aria-label": "Trace" },
    element("h3", {}, `Trace from reach ${data.reaches.id[trace.reach]}`),
    element("p", {}, traceIcon("up"), ` Upstream, this reach included: ${kilometres(trace.km)} in ${counted(trace.up.length, "reach", "reaches")}, ${kilometres(trace.assessedKm)} of it assessed, ${counted(trace.sites.length, "site")}.`),
    classBar(data, trace.byClass, words, "Trace upstream by class"),
    element("p", {}, traceIcon("way"), trace.way.length
      ? [` Way down to the outlet: ${kilometres(trace.wayKm)} over ${counted(trace.way.length, "reach", "reaches")}, ending at `, placeLink(data, "reach", outlet, choose), "."]
      : " This reach is an outlet of the layer: nothing lies below it."),
    data.branches.up.length ? element("p", { class: "note" }, "Streams divide in this layer: upstream counts every branch whole, the way down follows the main one.") : null,
    element("button", { type: "button", class: "quiet", onclick: clear }, "Clear trace"));
}

/** What the announcer says of a trace. */
function traceWords(data, trace) {
  const below = trace.way.length ? `, ${kilometres(trace.wayKm)} down to the outlet` : ", at the outlet";
  return `Trace from reach ${data.reaches.id[trace.reach]}: ${kilometres(trace.km)} upstream, ${kilometres(trace.assessedKm)} assessed, ${counted(trace.sites.length, "site")}${below}`;
}
