// One run of years in place of the current condition: only what was scored in it has a class, and nothing is inferred.

const NO_CHANCES = { of: () => [] };

/** Exchange the tables of sites and reaches for those of a period, by its place in the list; -1 brings back the current condition. */
function setPeriod(data, n) {
  data.currentTables ??= { sites: data.sites, reaches: data.reaches };
  const { sites, reaches } = data.currentTables;
  data.period = data.periods?.[n] ?? null;
  data.sums = null; // counted for what was shown before
  data.sites = data.period ? sitesIn(sites, data.period) : sites;
  data.reaches = data.period ? reachesIn(reaches, data.period) : reaches;
}

/** The data as they are without a period: what the panel tells below the period. */
function currentOf(data) {
  return data.period ? Object.assign(Object.create(data), { ...data.currentTables, period: null }) : data;
}

/** The period shown, for what it is about: sites and reaches; null for all else. */
function periodOf(data, kind) {
  return kind === "site" || kind === "reach" ? data.period : null;
}

/** A table that has some columns of its own and all others from another one. */
function overlay(table, columns) {
  return Object.create(table, Object.fromEntries(Object.entries(columns).map(([name, value]) => [name, { value, enumerable: true }])));
}

/** Score and class of those that have one in a period; no interval and no certainty, which are of the current condition. */
function scoredIn(n, { place, score, rank, nYears }) {
  const none = new Float64Array(n).fill(NaN);
  const columns = { score: none.slice(), rank: new Int32Array(n).fill(-1), periodYears: new Int32Array(n), low: none, high: none, certainty: none, chances: NO_CHANCES };
  place.forEach((i, at) => {
    if (i < 0) return;
    columns.score[i] = score[at] ?? NaN;
    columns.rank[i] = rank[at];
    columns.periodYears[i] = nYears[at];
  });
  return columns;
}

function sitesIn(sites, period) {
  return overlay(sites, { ...scoredIn(sites.n, period.sites), current: new Uint8Array(sites.n).fill(1) });
}

function reachesIn(reaches, period) {
  const columns = scoredIn(reaches.n, period.reaches);
  const periodSites = new Int32Array(reaches.n);
  period.reaches.place.forEach((i, at) => { if (i >= 0) periodSites[i] = period.reaches.nSites[at]; });
  const evidence = Uint8Array.from(columns.rank, (rank) => (rank < 0 ? EVIDENCE.unassessed : EVIDENCE.measured));
  return overlay(reaches, { ...columns, periodSites, evidence });
}

/** Years of a site that are in the period shown, as a column of the table. */
function periodYearColumn(table) {
  return { head: "Years scored", number: true, value: (i) => table.periodYears[i] || null, cell: (i) => (table.periodYears[i] ? figure(table.periodYears[i]) : "none") };
}

/** The choice of what is shown, what is said of it, and its name in the title. */
class PeriodChoice {
  constructor(host, data, onChoose) {
    this.data = data;
    if (!host) return;
    const { periods } = data;
    const newestFirst = range(periods.length).reverse();
    this.select = element("select", { id: "period", "aria-describedby": "period-banner", onchange: (event) => onChoose(Number(event.target.value)) },
      element("option", { value: -1 }, `Current condition (as of ${data.asOf})`),
      newestFirst.map((n) => element("option", { value: n }, periods[n].label)));
    this.banner = element("p", { id: "period-banner", class: "period-banner", role: "status" });
    host.append(element("p", { class: "period-choice" }, element("label", { for: "period" }, "Condition shown"), this.select), this.banner);
    this.title = document.title;
  }

  /** The place in the list of the period that ends with a year, as the address has it; -1 where there is none. */
  find(year) {
    return /^\d+$/.test(year) && this.data.periods ? this.data.periods.findIndex(({ last }) => last === Number(year)) : -1;
  }

  show() {
    if (!this.select) return;
    const { period, periods } = this.data;
    this.select.value = String(period ? periods.indexOf(period) : -1);
    this.banner.textContent = period ? bannerWords(this.data) : "";
    document.body.classList.toggle("in-period", Boolean(period));
    document.getElementById("period-title").textContent = period ? `, condition in ${period.label}` : "";
    document.title = period ? `${this.title}, ${period.label}` : this.title;
  }
}

function bannerWords(data) {
  const { period, reaches } = data;
  const measured = reaches.evidence.reduce((sum, evidence) => sum + (evidence === EVIDENCE.measured), 0);
  return `Shown: ${period.label}, not the current condition. Only the ${counted(measured, "reach", "reaches")} with a site scored in it ${measured === 1 ? "has" : "have"} a class (of ${figure(reaches.n)}); `
    + "inference is left out, and so are trend marks, steps and the shading of sub-watersheds, which are about all years or the current condition.";
}

/** What the period says of a place beside what the current condition says of it; the rest of the panel follows below. */
function periodBlock(data, { kind, i }) {
  const { period, index, asOf } = data;
  const now = currentOf(data);
  const rest = element("h3", { class: "period-rest" }, "Current condition, and all years");
  const title = element("h3", {}, `In ${period.label}`);
  if (!periodOf(data, kind)) return element("section", { class: "period-block", "aria-label": `In ${period.label}` }, title, element("p", { class: "note" }, kind === "area" ? "Sub-watersheds have their current condition only: it rests on inferred reaches too." : "Steps are about all years; none is of one period."), rest);
  const table = tableOf(data, kind);
  const row = (name, ...cells) => element("tr", {}, element("th", { scope: "row" }, name), cells.map((cell) => element("td", {}, cell)));
  const score = (from) => figure(tableOf(from, kind).score[i], index.decimals);
  return element("section", { class: "period-block", "aria-label": `In ${period.label}` }, title,
    element("table", { class: "plain" },
      element("thead", {}, element("tr", {}, element("td"), [period.label, `Current (as of ${asOf})`].map((head) => element("th", { scope: "col" }, head)))),
      element("tbody", {},
        row("Class", classChip(data, kind, i), classChip(now, kind, i)),
        row(index.label, table.rank[i] < 0 ? "none" : element("b", {}, score(data)), score(now)),
        row("Rests on", periodEvidence(table, kind, i), currentEvidence(now, kind, i)))),
    rest);
}

function periodEvidence(table, kind, i) {
  if (table.rank[i] < 0) return "no scored sample; nothing is inferred";
  const years = `${counted(table.periodYears[i], "year")} with a score`;
  return kind === "site" ? years : `${counted(table.periodSites[i], "site")}, ${years}`;
}

function currentEvidence(now, kind, i) {
  if (kind === "reach") return evidenceWords(now, kind, i);
  const { rank, current, lastYear } = now.sites;
  if (rank[i] < 0) return "no usable sample";
  return current[i] ? "its last years" : `last sampled ${lastYear[i]}`;
}
