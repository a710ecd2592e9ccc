// Words, numbers and elements. All text reaches the document through `element`, as text and never as markup.

const UNKNOWN = "unknown";
const SVG = "http://www.w3.org/2000/svg"; // a name of a language, not an address that is loaded

/** Make an element. Children are elements or text; attributes of value false, null or undefined are left out. */
function element(tag, attributes = {}, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

/** Make an element of a drawing. */
function drawn(tag, attributes = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  node.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== ""));
  return node;
}

/** Whether a value is not known: null in the tables that stand as JSON, not a number in the packed ones. */
function missing(value) {
  return value === null || value === undefined || Number.isNaN(value);
}

/** A number with fixed decimals, a true minus sign and thousands apart; `unknown` when it is missing. */
function figure(value, decimals = 0) {
  if (missing(value)) return UNKNOWN;
  const text = Math.abs(value).toLocaleString("en", {
    minimumFractionDigits: decimals,
    maximumFractionDigits: decimals,
  });
  return value < 0 && Number(text) !== 0 ? `\u2212${text}` : text;
}

/** A number that always carries its sign. */
function signed(value, decimals) {
  return value > 0 ? `+${figure(value, decimals)}` : figure(value, decimals);
}

function kilometres(value, decimals = 1) {
  return missing(value) ? UNKNOWN : `${figure(value, decimals)} km`;
}

function percent(share) {
  if (missing(share)) return UNKNOWN;
  if (share > 0 && share < 0.005) return "under 1 %";
  if (share < 1 && share > 0.995) return "over 99 %";
  return `${Math.round(share * 100)} %`;
}

function pValue(p) {
  if (missing(p)) return UNKNOWN;
  return p < 0.001 ? "p < 0.001" : `p = ${p.toFixed(3)}`;
}

function counted(n, one, many = `${one}s`) {
  return missing(n) ? UNKNOWN : `${figure(n)} ${n === 1 ? one : many}`;
}

/** "ID Name", or the id alone where there is no other name. */
function fullName(id, name) {
  return name && name !== id ? `${id} ${name}` : id;
}

/** Compare for sorting: missing last whichever way it goes, numbers by size, text the way people read it. */
const byText = new Intl.Collator("en", { numeric: true, sensitivity: "base" }).compare;
function compare(a, b, descending) {
  const noA = missing(a) || a === "";
  const noB = missing(b) || b === "";
  if (noA || noB) return Number(noA) - Number(noB);
  const order = typeof a === "number" ? a - b : byText(a, b);
  return descending ? -order : order;
}

/** A colour of the page's style sheet, so that drawings follow it. */
function styleColour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

/** How the map moves: not at all for readers who asked for less motion. */
function motionOptions() {
  const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  return still ? { zoomAnimation: false, fadeAnimation: false, inertia: false, markerZoomAnimation: false } : {};
}
