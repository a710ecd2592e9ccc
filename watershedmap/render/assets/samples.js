// The samples of a site, each with what led to its score.

function samplesBlock(data, site) {
  const { samples, sites } = data;
  const listed = sites.samples[site];
  const all = samples.perSite[site];
  if (!listed.length) return [element("h3", {}, "Samples"), element("p", { class: "note" }, "None.")];
  const columns = sampleColumns(data);
  return [
    element("h3", {}, listed.length < all ? `Last ${listed.length} of ${all} samples` : `${counted(all, "sample")}`),
    element("p", { class: "note" }, samples.explained
      ? "Open a date to see how the sample came to its score."
      : ["How each sample came to its score is left out, to keep this page small; ", element("code", {}, "watershedmap score FOLDER --explain SAMPLE"), " shows it."]),
    element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Samples" },
      element("table", { class: "plain samples" },
        element("thead", {}, element("tr", {}, columns.map(({ head, number }) => element("th", { scope: "col", class: number ? "number" : null }, head)))),
        element("tbody", {}, listed.map((i) => sampleRows(data, i, columns))))),
  ];
}

/** Columns of the samples; one that is empty for every sample of the survey is left out. */
function sampleColumns(data) {
  const { samples, index } = data;
  const method = (i) => [samples.method[i], samples.replicate[i] ? `(${samples.replicate[i]})` : ""].filter(Boolean).join(" ");
  const text = (head, value) => ({ head, has: value, cell: (i) => value(i) || UNKNOWN });
  const number = (head, values, decimals) => ({ head, number: true, has: (i) => values[i] !== null, cell: (i) => figure(values[i], decimals) });
  const bounded = samples.low.some((low) => low !== null);
  const score = { ...number("Score", samples.score, index.decimals), head: bounded ? "Score, 90 % interval" : "Score", cell: (i) => sampleScore(data, i, bounded) };
  return [
    text("Date", (i) => samples.date[i]),
    text("Method", method),
    number("Individuals", samples.individuals),
    number("Taxa", samples.richness),
    number("EPT taxa", samples.ept),
    score,
  ].filter(({ has }) => range(samples.id.length).some(has));
}

/** The score of a sample, its interval below it, and whether its class is uncertain. */
function sampleScore(data, i, bounded) {
  const { samples, index } = data;
  const [low, high] = [samples.low[i], samples.high[i]].map((end) => (end === null ? null : figure(end, index.decimals)));
  const interval = low === null || high === null ? "interval unknown" : `${low} to ${high}`;
  return [
    figure(samples.score[i], index.decimals),
    bounded && samples.score[i] !== null ? element("span", { class: "sample-interval" }, interval) : null,
    isUncertain(data, samples, i) ? element("span", { class: "reserve" }, "uncertain") : null,
  ];
}

function sampleRows(data, i, columns) {
  const flags = data.samples.flags[i];
  const cells = columns.map(({ cell, number }, n) =>
    element(n ? "td" : "th", { scope: n ? null : "row", class: number ? "number" : null }, cell(i)));
  const row = element("tr", { class: flags ? "flagged" : null }, cells);
  const rows = flags ? [row, element("tr", { class: "flags" }, element("td", { colspan: columns.length }, `\u2691 ${flags}`))] : [row];
  return data.samples.explained ? [...rows, addExplanation(data, i, cells[0], columns.length)] : rows;
}

/** Turn the date of a sample into the button that opens its explanation; what it opens is built when it is first asked for. */
function addExplanation(data, i, cell, width) {
  const id = `explanation-${i}`;
  const place = element("div", { class: "explained" });
  const row = element("tr", { class: "explanation", id, hidden: true }, element("td", { colspan: width }, place));
  const open = ({ currentTarget }) => {
    if (!place.hasChildNodes()) place.append(...explanation(data, i).flat(Infinity).filter(Boolean));
    row.hidden = !row.hidden;
    currentTarget.setAttribute("aria-expanded", String(!row.hidden));
  };
  const words = element("span", { class: "unseen" }, `: how sample ${data.samples.id[i]} came to its score`);
  cell.replaceChildren(element("button", { type: "button", class: "open-sample", "aria-expanded": "false", "aria-controls": id, onclick: open }, data.samples.date[i] || UNKNOWN, words));
  return row;
}
