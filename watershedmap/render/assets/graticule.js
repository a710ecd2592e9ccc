// Lines of longitude and latitude, below everything, with their degrees along the edges of the map.

const GRID_STEPS = [30, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001];
const GRID_APART = 130; // pixels between two lines, about

/** The lines of a view: their degrees and where they lie on the canvas. */
function gridLines(map, view) {
  const corner = (x, y) => map.unproject([x, y], 0);
  const [northWest, southEast] = [corner(view.west, view.north), corner(view.east, view.south)];
  const perDegree = (view.width - 0) / Math.max(1e-9, southEast.lng - northWest.lng);
  const step = GRID_STEPS.findLast((degrees) => degrees * perDegree >= GRID_APART) ?? GRID_STEPS[0];
  const between = (from, to) => range(Math.max(0, Math.floor(to / step) - Math.ceil(from / step) + 1)).map((n) => (Math.ceil(from / step) + n) * step);
  const decimals = step >= 1 ? 0 : Math.ceil(-Math.log10(step));
  return {
    decimals,
    meridians: between(northWest.lng, southEast.lng).map((degrees) => ({ degrees, at: view.x(worldX(degrees)) })),
    parallels: between(Math.max(-85, southEast.lat), Math.min(85, northWest.lat)).map((degrees) => ({ degrees, at: view.y(worldY(degrees)) })),
  };
}

function paintGraticule(context, map, view) {
  const { meridians, parallels } = gridLines(map, view);
  context.beginPath();
  for (const { at } of meridians) {
    context.moveTo(Math.round(at) + 0.5, 0);
    context.lineTo(Math.round(at) + 0.5, view.height);
  }
  for (const { at } of parallels) {
    context.moveTo(0, Math.round(at) + 0.5);
    context.lineTo(view.width, Math.round(at) + 0.5);
  }
  context.strokeStyle = styleColour("grid");
  context.lineWidth = 1;
  context.stroke();
}

function degreesText(degrees, decimals, [positive, negative]) {
  return `${Math.abs(degrees).toFixed(decimals)}\u00b0${degrees === 0 ? "" : ` ${degrees > 0 ? positive : negative}`}`;
}

/** Degrees of the lines: of meridians along the upper edge, of parallels along the right one. */
function labelGraticule(context, map, view) {
  const { meridians, parallels, decimals } = gridLines(map, view);
  const right = view.width - view.pad.x;
  const style = { font: `500 10.5px ${FONT}`, colour: "muted", spacing: "0px", height: 11 };
  const room = (at, from, to) => at > from && at < to;
  for (const { degrees, at } of meridians) {
    if (room(at, view.pad.x + 50, right - 80)) paintLabel(context, { text: degreesText(degrees, decimals, "EW"), x: at, y: view.pad.y + 9, angle: 0, style });
  }
  for (const { degrees, at } of parallels) {
    if (room(at, view.pad.y + 60, view.height - view.pad.y - 60)) paintLabel(context, { text: degreesText(degrees, decimals, "NS"), x: right - 10, y: at, angle: Math.PI / 2, style });
  }
}
