// How sure a class is: the rule for "uncertain", and the bar of class probabilities.

const SHOWN_FROM = 0.005; // probability from which a class is named; the rest stands together
const ROOM_FOR_NUMBER = 0.07; // share of the bar that a class number needs

/** Whether the stated class is known to be unsure: its probability, in whole percent as shown, is under the limit. */
function isUncertain(data, table, i) {
  const certainty = table.certainty[i];
  return !missing(certainty) && Math.round(100 * certainty) < Math.round(100 * data.certainFrom);
}

/** The number of a class, with a question mark where the class is uncertain. */
function classMark(rank, uncertain) {
  return uncertain ? `${rank + 1}?` : String(rank + 1);
}

/** A probability in words; one that was estimated is never shown as full or none. */
function chanceWords(p) {
  if (p >= 0.995) return "over 99 %";
  return p < 0.005 ? "under 1 %" : percent(p);
}

/** Class probabilities in words, one piece a class, best class first; classes under half a percent stand together. */
function chancesWords(data, chances) {
  const named = range(chances.length).filter((rank) => chances[rank] >= SHOWN_FROM);
  const rest = chances.reduce((sum, p) => sum + (p < SHOWN_FROM ? p : 0), 0);
  const words = named.map((rank) => `${classWords(data, "site", rank)} ${chanceWords(chances[rank])}`);
  return rest > 0 ? [...words, `any other ${chanceWords(rest)}`] : words;
}

/** Class probabilities as a bar that carries the class numbers, and in words. */
function chanceBar(data, chances, title = "Class probabilities") {
  const words = chancesWords(data, chances);
  const parts = chances.flatMap((p, rank) => {
    if (p < SHOWN_FROM) return [];
    const { colour, text } = data.index.classes[rank];
    const part = element("span", { class: "chance" }, p >= ROOM_FOR_NUMBER ? String(rank + 1) : "");
    Object.assign(part.style, { flexGrow: String(p), background: colour, color: text });
    return [part];
  });
  return element("figure", { class: "chances" },
    element("div", { class: "chance-bar", role: "img", "aria-label": `${title}: ${words.join(", ")}` }, parts),
    element("figcaption", {}, element("b", {}, `${title}: `), words.flatMap((piece, n) => [n ? ", " : null, element("span", { class: "whole" }, piece)])));
}

/** How sure the class of a place is: the bar and a caution, or that it is unknown and why. */
function certaintyBlock(data, kind, i) {
  const table = tableOf(data, kind);
  if (table.rank[i] < 0) return null;
  const chances = valueAt(table.chances, i);
  if (!chances.length) return element("p", { class: "note sureness" }, `Certainty of the class: unknown, ${whyUnknown(data, kind, i)}.`);
  return [chanceBar(data, chances), isUncertain(data, table, i) ? element("p", { class: "caution" }, uncertainWords(data, table.certainty[i])) : null];
}

function uncertainWords(data, certainty) {
  return `Uncertain class: its probability is ${chanceWords(certainty)}, and under ${percent(data.certainFrom)} a class is marked \u201c?\u201d. That limit is our own choice.`;
}

function whyUnknown(data, kind, i) {
  const table = tableOf(data, kind);
  if (kind !== "site" && table.evidence[i] === EVIDENCE.inferred) return "because it is inferred from too few sites, or from one without an interval";
  if (kind === "area") return "because its streams are not all measured with a known error";
  return kind === "reach" && table.sites.of(i).length > 1 ? "because a site on it has no interval" : "because there is no interval";
}

/** On what the interval of a site rests. */
function basisWords(sites, i) {
  if (sites.basis[i] === "years") return ` from ${counted(sites.basisYears[i], "year")}`;
  if (sites.basis[i] !== "counts") return "";
  return ` from the counts of ${sites.nYears[i] === 1 ? "one year only" : "its samples only"}: differences between years are not in it`;
}

/** On what the interval of a place rests: for a reach, on its sites. */
function intervalBasis(data, table, i) {
  if (table === data.sites) return basisWords(table, i);
  if (table !== data.reaches) return "";
  if (table.evidence[i] === EVIDENCE.inferred) return " from the model along the flow";
  const own = table.sites.of(i);
  if (!own.length) return "";
  if (own.length === 1) return basisWords(data.sites, own[0]);
  if (own.every((site) => data.sites.basis[site] === "years")) return " from the years of each site on it";
  return " in part from the counts of single years: differences between years are not in those";
}
