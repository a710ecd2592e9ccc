// How one sample came to its score: what was found, the values used, the arithmetic, and what weakens it.

/** Sources and reasons are marked with letters: a to z, then a2, b2 and so on. */
function footMark(n) {
  const letter = String.fromCharCode(97 + (n % 26));
  return n < 26 ? letter : `${letter}${1 + Math.floor(n / 26)}`;
}

function explanation(data, i) {
  const { samples, index } = data;
  const [taxa, counts, steps, checks, agrees] = samples.explained.samples[i];
  return [
    element("h4", {}, `Sample ${samples.id[i]}`),
    taxa.length ? taxaTable(samples.explained, taxa, counts) : null,
    element("table", { class: "plain steps" },
      element("caption", {}, `Arithmetic of the ${index.label}`),
      element("tbody", {}, steps.map((at) => stepRow(samples.explained.steps[at])))),
    agrees ? null : element("p", { class: "caution" }, "This arithmetic does not come to the score of the sample. Please report this."),
    samples.chances[i].length ? chanceBar(data, samples.chances[i]) : null,
    isUncertain(data, samples, i) ? element("p", { class: "caution" }, uncertainWords(data, samples.certainty[i])) : null,
    checkList(checks.map((at) => samples.explained.checks[at])),
  ];
}

/** A number as it was counted or computed, with all its digits. */
function exact(value) {
  return value === null ? "none" : String(value).replace("-", "\u2212");
}

function stepRow([text, result]) {
  return element("tr", {},
    element("th", { scope: "row" }, text),
    element("td", { class: "number" }, result === null ? "" : exact(result)));
}

/** Every name of the sample with its count, what it was taken for and the value used; sources stand below. */
function taxaTable(explained, taxa, counts) {
  const lines = taxa.map((at, n) => {
    const [name, taxon, value, source, remark] = explained.taxa[at];
    return { name, taxon, value, count: counts[n], source: explained.texts[source], remark: explained.texts[remark] };
  });
  const sources = [...new Set(lines.map(({ source }) => source).filter(Boolean))];
  return [
    element("table", { class: "plain taxa" },
      element("caption", {}, "What was found"),
      element("thead", {}, element("tr", {}, ["As written", "Taken for", "Count", "Value"].map((head, n) =>
        element("th", { scope: "col", class: n > 1 ? "number" : null }, head)))),
      element("tbody", {}, lines.map((line) => taxonRow(line, sources)))),
    sources.length ? element("p", { class: "note" }, sources.map((source, n) => [n ? "; " : null, element("sup", {}, footMark(n)), ` ${source}`]), ".") : null,
  ];
}

function taxonRow({ name, taxon, value, count, source, remark }, sources) {
  return element("tr", {},
    element("th", { scope: "row" }, name, remark ? element("span", { class: "remark" }, remark) : null),
    element("td", {}, taxon === name ? element("span", { class: "faint" }, "the same") : taxon || UNKNOWN),
    element("td", { class: "number" }, exact(count)),
    element("td", { class: "number" }, exact(value), source ? element("sup", {}, footMark(sources.indexOf(source))) : null));
}

/** The checks of quality that the sample failed, with what was found and what was done. */
function checkList(hits) {
  if (!hits.length) return element("p", { class: "note" }, "No check of quality was hit.");
  return [
    element("p", { class: "checks-title" }, "Checks of quality that were hit"),
    element("ul", { class: "checks" }, hits.map(([flag, value, limit, severity, done]) =>
      element("li", {}, [flag, value ? `found ${value}` : "", limit ? `limit ${limit}` : "", severity ? `severity ${severity}` : "", done].filter(Boolean).join("; ")))),
  ];
}
