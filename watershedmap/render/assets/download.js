// The rows of a table as a CSV file, made in the page itself.

const RISKY_STARTS = /^[=+\-@\t\r\n]/; // first characters that make a spreadsheet read a text as a formula

/** A cell: numbers as they are, text that looks like a formula with an apostrophe before it, quoted where needed. */
function csvCell(value) {
  if (missing(value)) return "";
  if (typeof value === "number") return String(value);
  const text = RISKY_STARTS.test(value) ? `'${value}` : value;
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

/** What a row of each kind holds, under the names of the columns of the tables that are written beside the page. */
function csvColumns(data, kind) {
  const table = tableOf(data, kind);
  const one = (name, value) => ({ name, value });
  const condition = [
    ...(periodOf(data, kind) ? [one("period", () => data.period.label)] : []),
    one("score", (i) => table.score[i]),
    one("score_low", (i) => table.low[i]),
    one("score_high", (i) => table.high[i]),
    one("class", (i) => data.index.classes[table.rank[i]]?.label ?? ""),
    one("class_certainty", (i) => table.certainty[i]),
  ];
  const trend = [
    one("trend", (i) => data.trends[table.trend[i]] ?? ""),
    one("slope_per_year", (i) => table.slope[i]),
    one("p_value", (i) => table.p[i]),
    one("trend_years", (i) => table.trendYears[i]),
  ];
  const name = one("name", (i) => table.name[i]);
  const evidence = one("evidence", (i) => data.evidence[table.evidence[i]] ?? "");
  const { current } = currentOf(data).sites;
  const of = {
    site: () => [one("site_id", (i) => table.id[i]), name, ...condition, ...trend, one("last_year", (i) => table.lastYear[i]), one("current", (i) => String(current[i]))],
    reach: () => [one("reach_id", (i) => table.id[i]), name, one("length_km", (i) => table.lengthKm[i]), evidence, ...condition, ...trend, one("upstream_km", (i) => table.upKm[i])],
    area: () => [one("subwatershed_id", (i) => table.id[i]), name, one("stream_km", (i) => table.streamKm[i]), one("assessed_km", (i) => table.assessedKm[i]), one("measured_km", (i) => table.measuredKm[i]), evidence, ...condition],
    step: () => stepFields(data).map(([heading, value]) => one(heading, value)),
  };
  return of[kind]();
}

function toCsv(data, kind, rows) {
  const columns = csvColumns(data, kind);
  const lines = [columns.map(({ name }) => name), ...rows.map((i) => columns.map(({ value }) => csvCell(value(i))))];
  return `\ufeff${lines.map((cells) => cells.join(",")).join("\r\n")}\r\n`;
}

function saveText(text, name) {
  const address = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
  const link = element("a", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
}
