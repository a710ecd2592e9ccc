// Symbols, drawn on a canvas (map) and as SVG (legend, panel) from the same measures.

const BADGE_RADIUS = 8;
const LABEL_SIZES = [0, 1.15, 1.05, 0.8]; // height of what stands in a site by its characters, in radii

/** Points of the mark inside a badge, about its centre: an upright arrow, a dash or a dot. Never along a line. */
function badgePath(trend) {
  if (trend === TREND.improving) return "M0 5 V-4.5 M-3.6 -1 L0 -4.8 L3.6 -1";
  if (trend === TREND.worsening) return "M0 -5 V4.5 M-3.6 1 L0 4.8 L3.6 1";
  if (trend === TREND.unclear) return "M-4 0 H4";
  return "";
}

function badgeColour(trend) {
  const names = { [TREND.improving]: "improving", [TREND.worsening]: "worsening" };
  return styleColour(names[trend] ?? "muted");
}

function paintBadge(context, x, y, trend) {
  const small = trend === TREND.tooFew;
  context.save();
  context.translate(x, y);
  context.beginPath();
  context.arc(0, 0, small ? 3.5 : BADGE_RADIUS, 0, 2 * Math.PI);
  context.fillStyle = styleColour("paper");
  context.strokeStyle = badgeColour(trend);
  context.lineWidth = 1.3;
  context.fill();
  context.stroke();
  context.lineWidth = 2;
  context.lineCap = "round";
  context.lineJoin = "round";
  if (small) paintDot(context);
  else context.stroke(new Path2D(badgePath(trend)));
  context.restore();
}

function paintDot(context) {
  context.beginPath();
  context.arc(0, 0, 1.4, 0, 2 * Math.PI);
  context.fillStyle = styleColour("muted");
  context.fill();
}

function badgeIcon(trend, size = 20) {
  const small = trend === TREND.tooFew;
  const colour = badgeColour(trend);
  return drawn(
    "svg",
    { width: size, height: size, viewBox: "-10 -10 20 20", "aria-hidden": "true", class: "icon" },
    drawn("circle", { r: small ? 3.5 : BADGE_RADIUS, fill: styleColour("paper"), stroke: colour, "stroke-width": 1.3 }),
    small
      ? drawn("circle", { r: 1.4, fill: colour })
      : drawn("path", { d: badgePath(trend), fill: "none", stroke: colour, "stroke-width": 2, "stroke-linecap": "round", "stroke-linejoin": "round" }),
  );
}

/** How a site is drawn: filled with its class and number, a ring when stale, hollow grey when unknown, "?" when uncertain. */
function siteLook(data, rank, current, uncertain = false) {
  if (rank < 0) return { fill: styleColour("paper"), edge: styleColour("nodata"), text: styleColour("muted"), label: "\u2013", ring: 2 };
  const band = data.index.classes[rank];
  const label = classMark(rank, uncertain);
  if (!current) return { fill: styleColour("chip"), edge: band.colour, text: styleColour("chip-ink"), label, ring: 3.2 };
  return { fill: band.colour, edge: styleColour("ink"), text: band.text, label, ring: 1.3 };
}

function paintSite(context, x, y, radius, look) {
  context.beginPath();
  context.arc(x, y, radius + 1.6, 0, 2 * Math.PI);
  context.fillStyle = styleColour("paper");
  context.fill();
  context.beginPath();
  context.arc(x, y, radius - look.ring / 2, 0, 2 * Math.PI);
  context.fillStyle = look.fill;
  context.strokeStyle = look.edge;
  context.lineWidth = look.ring;
  context.fill();
  context.stroke();
  if (radius < SMALLEST_NUMBERED) return;
  context.fillStyle = look.text;
  context.font = `700 ${Math.round(radius * LABEL_SIZES[look.label.length])}px ${FONT}`;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.fillText(look.label, x, y + 0.5);
}

function siteIcon(data, rank, current = true, uncertain = false, size = 22) {
  const look = siteLook(data, rank, current, uncertain);
  return drawn(
    "svg",
    { width: size, height: size, viewBox: "-12 -12 24 24", "aria-hidden": "true", class: "icon" },
    drawn("circle", { r: 11 - look.ring / 2, fill: look.fill, stroke: look.edge, "stroke-width": look.ring }),
    drawn("text", { y: 4.4, "text-anchor": "middle", "font-size": 11 * LABEL_SIZES[look.label.length], "font-weight": 700, fill: look.text }, look.label),
  );
}

const BROKEN_EDGE = [2.5, 5]; // light and dark along the edge of a reach whose class is uncertain, pixels

/** How a reach is drawn: measured without a gap, inferred in dashes; the casing keeps pale classes visible, and is broken when the class is uncertain. */
function lineLook(data, evidence, rank, uncertain = false) {
  if (rank < 0 || evidence === EVIDENCE.unassessed) return { colour: styleColour("nodata"), width: classWidth(-1, data.k), dash: [], casing: 0 };
  const width = classWidth(rank, data.k);
  const inferred = evidence === EVIDENCE.inferred;
  return { colour: data.index.classes[rank].colour, width, dash: inferred ? [9, 5] : [], casing: inferred ? 0.9 : uncertain ? 2.2 : 1.1, broken: uncertain };
}

/** The strokes of a line: a dark casing below, the colour above it; a dash is cased all round, its gap stays open. */
function lineStrokes({ colour, width, dash, casing, broken = false }) {
  const inner = dash.length ? [dash[0] - 2 * casing, dash[1] + 2 * casing] : [];
  return {
    casing: casing ? { colour: styleColour("casing"), width: width + 2 * casing, dash, shift: 0 } : null,
    broken: broken ? { colour: styleColour("paper"), width: width + 2 * casing, dash: BROKEN_EDGE, shift: 0 } : null,
    line: { colour, width, dash: inner, shift: -casing },
  };
}

function lineIcon(look) {
  const stroke = ({ colour, width, dash, shift }) =>
    drawn("line", { x1: 1, x2: 43, y1: 8, y2: 8, stroke: colour, "stroke-width": width, "stroke-dasharray": dash.join(" ") || null, "stroke-dashoffset": dash.length ? shift : null });
  const { casing, broken, line } = lineStrokes(look);
  return drawn(
    "svg",
    { width: 34, height: 16, viewBox: "0 0 44 16", "aria-hidden": "true", class: "icon" },
    casing ? stroke(casing) : null,
    broken ? stroke(broken) : null,
    stroke(line),
  );
}

/** The pale colour of a class, for areas and stripes under what carries the full one. */
function tintOf(band) {
  return isDark() ? band.shade : band.tint;
}

/** A square with the number of a class: filled when measured and current, else an edge in the class colour. */
function classTile(data, rank, held = "", uncertain = false) {
  if (rank < 0) return element("span", { class: "tile none" }, "\u2013");
  const band = data.index.classes[rank];
  const tile = element("span", { class: `tile ${held}`, title: `class ${rank + 1}${uncertain ? ", uncertain" : ""}` }, classMark(rank, uncertain));
  tile.style.borderColor = band.colour;
  if (held) return tile;
  tile.style.background = band.colour;
  tile.style.color = band.text;
  return tile;
}

/** The class of a place in a line of text or a cell: its tile, its name, and what else is to be said. */
function classChip(data, kind, i, ...more) {
  const table = tableOf(data, kind);
  const rank = table.rank[i];
  const words = element("span", {}, rank < 0 ? noClass(kind, data) : data.index.classes[rank].label, more);
  return element("span", { class: rank < 0 ? "chip faint" : "chip" }, rank < 0 ? null : classTile(data, rank, reserve(table, i), isUncertain(data, table, i)), words);
}

const HATCH_STRENGTH = 0.4; // of a class colour, so that lines and names stay clear above it

/** Slanted lines for areas: rising in one colour for no data, falling in the class colour for inferred only. */
function hatching(context, colour, slant) {
  const tile = document.createElement("canvas");
  tile.width = 8;
  tile.height = 8;
  const brush = tile.getContext("2d");
  brush.strokeStyle = colour;
  brush.globalAlpha = slant > 0 ? 1 : HATCH_STRENGTH;
  brush.lineWidth = slant > 0 ? 1 : 2;
  brush.beginPath();
  for (const shift of [-8, 0, 8]) {
    brush.moveTo(shift - 1, 4 + 5 * slant);
    brush.lineTo(shift + 9, 4 - 5 * slant);
  }
  brush.stroke();
  return context.createPattern(tile, "repeat");
}

function paintLabel(context, { text, x, y, angle, style }) {
  context.save();
  context.translate(x, y);
  context.rotate(angle);
  context.font = style.font;
  context.letterSpacing = style.spacing;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.strokeStyle = styleColour("halo");
  context.lineWidth = 3.5;
  context.fillStyle = styleColour(style.colour);
  const lines = text.split("\n");
  lines.forEach((line, n) => {
    const lower = (n - (lines.length - 1) / 2) * (style.height + 1);
    context.strokeText(line, 0, lower);
    context.fillText(line, 0, lower);
  });
  context.restore();
}
