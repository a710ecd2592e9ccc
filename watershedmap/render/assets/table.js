// The tables beside the map: the same as the map, for a keyboard and for a screen reader.

const ROWS_AT_ONCE = 250;

/** Columns by kind: heading, value for sorting, what the cell shows, and whether it is a figure. */
function columnsOf(data, kind) {
  if (kind === "step") return stepColumns(data);
  const table = tableOf(data, kind);
  const length = kind === "area" ? table.streamKm : table.lengthKm;
  const km = { head: "km", number: true, minor: true, value: (i) => length[i], cell: (i) => figure(length[i], 1) };
  const condition = conditionColumn(data, kind);
  if (kind === "site") return [condition, trendColumn(data, table), data.period ? periodYearColumn(table) : yearColumn(table)];
  if (kind === "reach") return [condition, evidenceColumn(data, table), trendColumn(data, table), km];
  return [condition, shareColumn("Assessed", (i) => table.assessedShare[i]), shareColumn("Measured", (i) => measuredShare(table, i)), km];
}

/** Class and score in one: classes follow the score, so that sorting by score sorts by both, the best first. */
function conditionColumn(data, kind) {
  const { index } = data;
  const table = tableOf(data, kind);
  const worse = index.better === "low" ? 1 : -1;
  return {
    head: data.period ? `Class, score${kind === "area" ? " (current)" : ` in ${data.period.label}`}` : "Class, score",
    value: (i) => (missing(table.score[i]) ? null : worse * table.score[i]),
    cell: (i) => classChip(data, kind, i,
      periodOf(data, kind) && missing(table.score[i]) ? null : element("span", { class: "row-score" }, figure(table.score[i], index.decimals)),
      isUncertain(data, table, i) ? element("span", { class: "reserve" }, "uncertain") : null,
      kind === "area" && reserve(table, i) ? element("span", { class: "reserve" }, evidenceWords(data, kind, i)) : null),
  };
}

function trendColumn(data, table) {
  const none = table === data.reaches ? "not measured" : "never sampled";
  return {
    head: data.period ? "Trend, all years" : "Trend",
    value: (i) => (table.trend[i] < 0 ? null : trendWeight(table.trend[i], table.p[i])),
    cell: (i) => (table.trend[i] < 0
      ? element("span", { class: "trend-cell faint" }, element("span", {}, none))
      : element("span", { class: "trend-cell" }, badgeIcon(table.trend[i], 18), element("span", {}, data.trends[table.trend[i]]))),
  };
}

function yearColumn(table) {
  return {
    head: "Last sampled",
    number: true,
    value: (i) => table.lastYear[i],
    cell: (i) => (missing(table.lastYear[i]) ? UNKNOWN : `${table.lastYear[i]}${table.current[i] ? "" : " (old)"}`),
  };
}

function evidenceColumn(data, table) {
  return { head: "Evidence", value: (i) => data.evidence[table.evidence[i]], cell: (i) => data.evidence[table.evidence[i]] };
}

function shareColumn(head, value) {
  return { head, number: true, value, cell: (i) => percent(value(i)) };
}

function measuredShare({ measuredKm, streamKm }, i) {
  return missing(measuredKm[i]) || !streamKm[i] ? null : measuredKm[i] / streamKm[i];
}

/** Sort rows by a column and then by id; missing values come last whichever way it goes. */
function sortRows(rows, value, descending, ids) {
  if (rows.length < 5000) return rows.sort((a, b) => compare(value(a), value(b), descending) || byText(ids[a], ids[b]));
  // Comparing as people read is slow for very many: figures in ids are padded instead, once each.
  const keys = new Map(rows.map((i) => [i, { value: value(i), id: ids[i].toLowerCase().replace(/\d+/g, (digits) => digits.padStart(15, "0")) }]));
  const byKey = (a, b) => (a < b ? -1 : Number(a > b));
  const text = (a, b) => (missing(a) || missing(b) || a === "" || b === "" || typeof a === "number" ? compare(a, b, descending) : byKey(a, b) * (descending ? -1 : 1));
  const padded = value(rows[0]) === ids[rows[0]];
  return rows.sort((a, b) => {
    const [one, other] = [keys.get(a), keys.get(b)];
    return (padded ? byKey(one.id, other.id) * (descending ? -1 : 1) : text(one.value, other.value)) || byKey(one.id, other.id);
  });
}

function cellClass({ number, minor }) {
  return [number ? "number" : "", minor ? "minor" : ""].join(" ").trim() || null;
}

class PlaceTables {
  constructor(host, data, choose, { onHover, onFilter }) {
    this.data = data;
    this.choose = choose;
    this.onHover = onHover;
    this.masks = {};
    this.kinds = ["site", "reach", data.areas ? "area" : "", data.steps?.n ? "step" : ""].filter(Boolean);
    this.state = Object.fromEntries(this.kinds.map((kind) => [kind, { column: 1, descending: true, search: "", first: 0, limit: ROWS_AT_ONCE }]));
    this.selected = null;
    this.host = host;
    this.printed = element("div", { class: "only-print" });
    const filters = element("div", { class: "filter-box" });
    this.filters = new Filters(filters, data, (masks) => {
      this.masks = masks;
      for (const state of Object.values(this.state)) Object.assign(state, { first: 0, limit: ROWS_AT_ONCE });
      if (this.kind) this.render();
      onFilter(masks);
    });
    host.append(this.buildTabs(), this.buildSearch(), filters, this.buildBody(), this.printed);
    this.show(data.sites.n ? "site" : "reach");
  }

  buildTabs() {
    const words = { site: "Sites", reach: "Reaches", area: "Sub-watersheds", step: "Steps" };
    this.tabs = this.kinds.map((kind) => element("button", {
      type: "button", role: "tab", id: `tab-${kind}`, "aria-controls": "table-body", onclick: () => this.show(kind), onkeydown: (event) => this.walkTabs(event),
    }, words[kind], element("span", { class: "tab-count" }, figure(tableOf(this.data, kind).n))));
    return element("div", { class: "tabs", role: "tablist", "aria-label": "Tables" }, this.tabs);
  }

  buildSearch() {
    this.search = element("input", { type: "search", id: "search", autocomplete: "off", spellcheck: "false", oninput: () => this.filter(), onkeydown: (event) => this.leaveSearch(event) });
    this.found = element("span", { class: "found", role: "status" });
    const save = element("button", { type: "button", class: "quiet", id: "save-rows", onclick: () => this.save() }, "CSV", element("span", { class: "unseen" }, ": download the rows shown"));
    return element("div", { class: "search" }, element("label", { for: "search" }, "Search id, name, stream"), this.search, this.found, save);
  }

  /** Escape empties the search before it does anything else on the page. */
  leaveSearch(event) {
    if (event.key !== "Escape" || !this.search.value) return;
    event.preventDefault();
    event.stopPropagation();
    this.search.value = "";
    this.filter();
  }

  /** Download the rows that pass filters and search, all of them, in the order shown. */
  save() {
    const names = { site: "sites", reach: "reaches", area: "subwatersheds", step: "steps" };
    const period = periodOf(this.data, this.kind);
    saveText(toCsv(this.data, this.kind, this.rows), `${names[this.kind]}${period ? `_${period.first}_${period.last}` : ""}.csv`);
  }

  buildBody() {
    const hover = (event) => {
      const row = event.target.closest?.("tbody tr");
      const pick = event.type === "pointerleave" || event.type === "focusout" ? null : row?.querySelector(".pick");
      this.onHover(pick ? { kind: this.kind, i: Number(pick.dataset.i) } : null);
    };
    this.body = element("div", { class: "table-body", id: "table-body", role: "tabpanel", onpointerover: hover, onpointerleave: hover, onfocusin: hover, onfocusout: hover });
    return this.body;
  }

  /** Mark the row of what the pointer is on in the map. */
  hover(place) {
    this.body.querySelectorAll(".hovered").forEach((row) => row.classList.remove("hovered"));
    if (place?.kind === this.kind) this.pickOf(place.i)?.closest("tr").classList.add("hovered");
  }

  walkTabs(event) {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    const next = (this.kinds.indexOf(this.kind) + step + this.kinds.length) % this.kinds.length;
    this.show(this.kinds[next]);
    this.tabs[next].focus();
  }

  show(kind) {
    this.kind = kind;
    this.tabs.forEach((tab, i) => {
      const on = this.kinds[i] === kind;
      tab.setAttribute("aria-selected", String(on));
      tab.tabIndex = on ? 0 : -1;
    });
    this.body.setAttribute("aria-labelledby", `tab-${kind}`);
    this.search.value = this.state[kind].search;
    this.render();
  }

  filter() {
    this.state[this.kind].search = this.search.value;
    Object.assign(this.state[this.kind], { first: 0, limit: ROWS_AT_ONCE });
    this.render();
  }

  sortBy(column) {
    const state = this.state[this.kind];
    state.descending = state.column === column ? !state.descending : false;
    state.column = column;
    Object.assign(state, { first: 0, limit: ROWS_AT_ONCE });
    this.render();
    this.body.querySelectorAll("thead button")[column].focus();
  }

  /** Positions that match the search, in the order asked for. */
  listed() {
    const table = tableOf(this.data, this.kind);
    const { column, descending, search } = this.state[this.kind];
    const wanted = search.trim().toLowerCase();
    const value = column === 0 ? (i) => table.id[i] : columnsOf(this.data, this.kind)[column - 1].value;
    const stream = (i) => (this.kind === "site" && table.reach[i] >= 0 ? this.data.reaches.name[table.reach[i]] : "");
    const mask = this.masks[this.kind];
    const found = picked(table.n, (i) => (!mask || mask[i]) && (!wanted || `${table.id[i]} ${table.name[i]} ${stream(i)}`.toLowerCase().includes(wanted)));
    return sortRows(found, value, descending, table.id);
  }

  render() {
    const { n } = tableOf(this.data, this.kind);
    const state = this.state[this.kind];
    this.rows = this.listed();
    this.found.textContent = state.search.trim() || this.masks[this.kind] ? `${figure(this.rows.length)} of ${figure(n)}` : "";
    const columns = columnsOf(this.data, this.kind);
    const visible = this.rows.slice(state.first, state.first + state.limit);
    this.body.replaceChildren(
      state.search.trim() ? element("p", { class: "only-print" }, `${this.found.textContent} shown: search \u201c${state.search.trim()}\u201d`) : "",
      this.buildEarlier(),
      element("table", { class: "places" },
        element("caption", { class: "unseen" }, "Enter on a name selects it on the map; arrow keys move between rows."),
        this.buildHead(columns),
        element("tbody", { onkeydown: (event) => this.walkRows(event) }, visible.map((i) => this.buildRow(i, columns)))),
      this.buildMore(visible.length));
    this.markSelected();
  }

  /** The table of sub-watersheds is short: on paper it follows the open one. */
  print(on) {
    const wanted = on && this.data.areas && this.kind !== "area";
    this.printed.replaceChildren(...(wanted ? [this.plainAreas()] : []));
  }

  plainAreas() {
    const { areas } = this.data;
    const columns = columnsOf(this.data, "area");
    return element("table", { class: "places" },
      element("thead", {}, element("tr", {}, [{ head: KIND_WORDS.area }, ...columns].map(({ head, number }) =>
        element("th", { scope: "col", class: number ? "number" : null }, head)))),
      element("tbody", {}, range(areas.n).map((i) => element("tr", {},
        element("th", { scope: "row" }, this.titleOf("area", i)),
        columns.map(({ cell, number }) => element("td", { class: number ? "number" : null }, cell(i)))))));
  }

  titleOf(kind, i) {
    const { id, name } = tableOf(this.data, kind);
    return [
      element("span", { class: "row-id" }, id[i]),
      name[i] && name[i] !== id[i] ? element("span", { class: "row-name" }, name[i]) : null,
    ];
  }

  buildHead(columns) {
    const { column, descending } = this.state[this.kind];
    const heads = [{ head: KIND_WORDS[this.kind] }, ...columns];
    return element("thead", {}, element("tr", {}, heads.map(({ head, number, minor }, i) => {
      const order = i === column ? (descending ? "descending" : "ascending") : "none";
      return element("th", { scope: "col", class: cellClass({ number, minor }), "aria-sort": order },
        element("button", { type: "button", onclick: () => this.sortBy(i) }, head, element("span", { class: "arrow", "aria-hidden": "true" })));
    })));
  }

  buildRow(i, columns) {
    const place = { kind: this.kind, i };
    const pick = element("button", { type: "button", class: "pick", tabindex: "-1", "data-i": i }, this.titleOf(this.kind, i));
    return element("tr", { onclick: () => this.choose(place, pick) },
      element("th", { scope: "row" }, pick),
      columns.map((column) => element("td", { class: cellClass(column) }, column.cell(i))));
  }

  buildMore(count) {
    if (!this.rows.length) return element("p", { class: "note" }, "Nothing found.");
    const { first } = this.state[this.kind];
    if (first + count >= this.rows.length) return "";
    const more = () => {
      this.state[this.kind].limit += 4 * ROWS_AT_ONCE;
      this.render();
    };
    const words = first ? `Rows ${figure(first + 1)} to ${figure(first + count)}` : `The first ${figure(count)}`;
    return element("p", { class: "more" }, `${words} of ${figure(this.rows.length)}. `,
      element("button", { type: "button", class: "quiet", onclick: more }, "Show more"));
  }

  /** Where the rows shown do not begin with the first one: the way back to those before. */
  buildEarlier() {
    const state = this.state[this.kind];
    if (!state.first) return "";
    const earlier = () => {
      const step = Math.min(state.first, ROWS_AT_ONCE);
      state.first -= step;
      state.limit += step;
      this.render();
    };
    return element("p", { class: "more" }, `${figure(state.first)} rows before these. `,
      element("button", { type: "button", class: "quiet", onclick: earlier }, "Show earlier"));
  }

  walkRows(event) {
    const picks = [...this.body.querySelectorAll(".pick")];
    const at = picks.indexOf(event.target);
    const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: picks.length - 1 }[event.key];
    if (at < 0 || to === undefined) return;
    event.preventDefault();
    this.makeReachable(picks[Math.max(0, Math.min(picks.length - 1, to))]).focus();
  }

  /** One row at a time is a stop for the Tab key. */
  makeReachable(pick) {
    this.body.querySelectorAll('.pick[tabindex="0"]').forEach((other) => other.setAttribute("tabindex", "-1"));
    pick.setAttribute("tabindex", "0");
    return pick;
  }

  /** Show a place in its table; rows beyond the ones shown, or hidden by the search, are brought in. */
  select(place, { scroll = true } = {}) {
    this.selected = place;
    if (place && place.kind !== this.kind) this.show(place.kind);
    if (place) this.uncover(place.i);
    this.markSelected(scroll);
  }

  uncover(i) {
    const state = this.state[this.kind];
    if (!this.rows.includes(i) && state.search) {
      state.search = "";
      this.show(this.kind);
    }
    const at = this.rows.indexOf(i);
    if (at < 0 || (at >= state.first && at < state.first + state.limit)) return; // left out by a filter, or there already
    if (at < 2 * ROWS_AT_ONCE) Object.assign(state, { first: 0, limit: at + ROWS_AT_ONCE });
    else Object.assign(state, { first: at - 20, limit: ROWS_AT_ONCE });
    this.render();
  }

  markSelected(scroll = false) {
    this.body.querySelectorAll("tr[aria-current]").forEach((row) => row.removeAttribute("aria-current"));
    const pick = this.selected?.kind === this.kind ? this.pickOf(this.selected.i) : null;
    if (pick) {
      pick.closest("tr").setAttribute("aria-current", "true");
      if (scroll) this.scrollTo(pick.closest("tr"));
    }
    const stop = pick ?? this.body.querySelector(".pick");
    if (stop) this.makeReachable(stop);
  }

  /** Scroll the table, not the page, until a row is seen below the headings. */
  scrollTo(row) {
    const head = this.body.querySelector("thead").offsetHeight;
    const above = row.offsetTop - head - this.body.scrollTop;
    const below = row.offsetTop + row.offsetHeight - this.body.clientHeight - this.body.scrollTop;
    if (above < 0) this.body.scrollTop += above;
    else if (below > 0) this.body.scrollTop += below;
  }

  pickOf(i) {
    return this.body.querySelector(`.pick[data-i="${i}"]`);
  }
}
