/* A whole pull in a grid: pasted blocks, cells in error marked, what is unsaved counted and kept in this browser. */
(() => {
  const GRID = "pull-grid";
  const { shelf, ready, attempt, answered, clicked, filled, set, clock, pend, count } = window.dwellbench;
  const NU = () => window.dash_clientside.no_update;
  const grid = () => window.dash_ag_grid.getApiAsync(GRID);
  let of = null, timer = 0;

  window.dashAgGridFunctions = Object.assign(window.dashAgGridFunctions || {}, {
    mayRead: (params) => Boolean(params.data.asked[params.colDef.field] && !params.data.read[params.colDef.field]),
    readTip: (params) => {
      const column = params.colDef.field, row = params.data;
      if (column === "link" || column === "test") return null;
      if (row.wrong && row.wrong[column]) return row.wrong[column];
      if (row.read[column]) return "Read already: open the coupon to correct it.";
      return row.asked[column] ? null : "Not asked of this coupon.";
    },
  });

  const key = () => `dwellbook:grid:${of.study}:${of.place}`;
  const cells = (row) => Object.fromEntries(of.columns.filter((column) => row.asked[column] && !row.read[column]
    && filled(row[column]) && row[column] !== (row.base[column] || "")).map((column) => [column, String(row[column]).trim()]));
  const unsaved = (api) => {
    const found = [];
    api.forEachNode((node) => {
      const typed = cells(node.data);
      if (Object.keys(typed).length) found.push({ ...node.data.base, ...typed, coupon: node.data.code });
    });
    return found;
  };
  const tell = (api, words) => {
    const rows = unsaved(api);
    let some = 0;
    const kept = {};
    api.forEachNode((node) => {
      const typed = cells(node.data), many = Object.keys(typed).length;
      some += many;
      if (many) kept[node.data.code] = typed;
    });
    if (some) shelf.put(key(), { at: clock(), rows: kept }); else shelf.drop(key());
    const counted = some === 1 ? "1 cell is typed and not saved." : `${some} cells are typed and not saved.`;
    set("pull-keeping", { children: [words, some ? counted : "Nothing typed yet."].filter(Boolean).join(" ") });
    clearTimeout(timer);
    timer = setTimeout(() => set("pull-try", { data: { rows, n: count() } }), 250);
  };
  const restored = async () => {
    const api = await grid(), kept = shelf.get(key());
    if (!kept) return;
    let back = 0;
    const update = [];
    api.forEachNode((node) => {
      const typed = kept.rows[node.data.code];
      if (!typed) return;
      for (const [column, value] of Object.entries(typed)) {
        if (node.data.asked[column] && !node.data.read[column]) { node.data[column] = value; back += 1; }
      }
      update.push(node.data);
    });
    api.applyTransaction({ update });
    if (back) tell(api, `What was typed here at ${kept.at} is back.`);
  };
  const plain = (text) => String(text || "").replace(/[\s\-_.]/g, "").toUpperCase();
  const blockOf = (text) => text.replace(/\r\n?/g, "\n").replace(/\n$/, "").split("\n").map((line) => line.split("\t"));
  /* A header line gives each cell its column by name, if every word in it is one of ours; Coupon is among them. */
  const headed = (columns, line) => {
    const named = {};
    for (const column of columns) for (const name of [column.getColId(), column.getColDef().headerName.split(" [")[0]]) named[plain(name)] = column;
    const found = line.map((cell) => named[plain(cell)] || null);
    const words = line.filter((cell) => cell.trim()).length;
    return words > 0 && found.filter(Boolean).length === words ? found : null;
  };
  /* Where each line names its coupon, rows are found by it and not by their place; a mark may look like a reading, so
     that marks are taken only in the column of coupons. */
  const codesIn = (api, lines, marks) => {
    const known = {}, met = new Set();
    api.forEachNode((node) => { for (const name of [node.data.code, marks && node.data.mark]) if (name) known[plain(name)] = node; });
    const at = lines[0]?.findIndex((cell) => known[plain(cell)]) ?? -1;
    if (at < 0) return null;
    const once = (node) => (node && !met.has(node) ? met.add(node) && node : null);
    return { at, rows: lines.map((line) => once(known[plain(line[at])])) };
  };
  const pasted = (api, at, text) => {
    api.stopEditing(true);
    const shown = api.getAllDisplayedColumns(), update = new Set(), block = blockOf(text);
    const head = headed(api.getColumns(), block[0]), lines = head ? block.slice(1) : block;
    const begun = shown.indexOf(at.column), named = head?.some((column) => column?.getColId() === "link");
    const codes = codesIn(api, lines, named || begun === 0);
    if (head) api.setColumnsVisible(head.filter((column) => column && !column.isVisible()), true);
    let taken = 0, left = 0, strange = 0;
    lines.forEach((line, down) => {
      const node = codes ? codes.rows[down] : api.getDisplayedRowAtIndex(at.rowIndex + down);
      if (codes && !node && line.some((cell) => cell.trim())) { strange += 1; return; }
      line.forEach((value, across) => {
        if (codes && across === codes.at) return;
        // Of a block with its codes, pasted into a column of readings, the codes themselves take no place.
        const place = begun + across - (codes && across > codes.at && begun > 1 ? 1 : 0);
        const column = (head ? head[across] : shown[place])?.getColId();
        if (column === "test") return;
        if (!node || !column || !node.data.asked[column] || node.data.read[column]) { if (value.trim()) left += 1; return; }
        node.data[column] = value.trim();
        update.add(node.data);
        taken += 1;
      });
    });
    api.applyTransaction({ update: [...update] });
    const said = (n, thing) => (n === 1 ? `1 ${thing}` : `${n} ${thing}s`);
    tell(api, [
      `${said(taken, "cell")} pasted${codes ? ", each line to the coupon it names" : ""}.`,
      left ? `${said(left, "cell")} left out: outside the grid, not asked, or read already.` : "",
      strange ? `${said(strange, "line")} left out: no coupon of this grid is named there, or one named before.` : "",
    ].filter(Boolean).join(" "));
  };
  /* The answer about commas: written into the cells where the text is still the one that was asked about. */
  document.addEventListener("click", async (event) => {
    const button = event.target.closest?.("[data-commas][data-in=cell]");
    if (!button) return;
    const api = await grid(), update = [];
    api.stopEditing();
    let first = null;
    for (const [code, column, typed, written] of JSON.parse(button.dataset.commas)) {
      const node = api.getRowNode(code);
      if (!node || node.data.read[column] || String(node.data[column] || "").trim() !== typed) continue;
      node.data[column] = written;
      update.push(node.data);
      first = first || [node.rowIndex, column];
    }
    api.applyTransaction({ update });
    if (first) { api.ensureIndexVisible(first[0]); api.setFocusedCell(...first); }
    tell(api, `${update.length === 1 ? "1 cell" : `${update.length} cells`} written without the comma.`);
  });
  document.addEventListener("paste", async (event) => {
    if (!event.target.closest?.("[data-read-grid]")) return;
    const text = event.clipboardData.getData("text/plain");
    if (event.target.matches("input, textarea") && !/[\t\n]/.test(text.trim())) return; // one value into an open cell
    event.preventDefault();
    const api = await grid(), at = api.getFocusedCell();
    if (at) pasted(api, at, text);
  });

  const pull = {
    opened: (told) => {
      of = told;
      if (!told) return NU();
      ready("pull-save");
      if (told.saved) { shelf.drop(key()); shelf.drop(`${key()}:attempt`); } else restored();
      return "Nothing typed yet.";
    },
    typed: (changed) => { if (changed && of) grid().then((api) => tell(api, "")); return NU(); },
    marked: (wrong) => {
      if (!wrong) return NU();
      grid().then((api) => {
        const update = [];
        api.forEachNode((node) => {
          const mine = wrong[node.data.code] || null;
          if (JSON.stringify(mine) !== JSON.stringify(node.data.wrong || null)) { node.data.wrong = mine; update.push(node); }
        });
        api.refreshCells({ rowNodes: update, force: true });
      });
      const many = Object.values(wrong).reduce((sum, columns) => sum + Object.keys(columns).length, 0);
      set("pull-count", { children: many === 1 ? "1 cell to mend" : `${many} cells to mend`, hidden: !many });
      return NU();
    },
    lead: (clicks) => {
      const told = document.getElementById("pull-problems");
      if (clicks && told) { told.scrollIntoView({ block: "start" }); (told.querySelector("button") || told).focus(); }
      return NU();
    },
    owed: () => {
      // After a refusal to what is marked above the grid, which may lie far above the button; else to the question.
      setTimeout(() => {
        const asked = document.querySelector("#pull-said .message[role=alert]");
        const marked = document.querySelector(".row.above [aria-invalid=true]");
        (marked || (asked?.querySelector("button") && asked))?.focus();
      }, 60);
      return NU();
    },
    more: (clicks) => {
      if (!clicks || !of) return NU();
      const show = clicks % 2 === 1;
      grid().then((api) => api.setColumnsVisible(of.optional, show));
      return show ? "Fewer columns" : "More columns";
    },
    send: async (_, __, sat, satIds, on, by) => {
      const trigger = clicked();
      if (!trigger || !of) return NU();
      const api = await grid();
      api.stopEditing();
      const sitting = Object.fromEntries(satIds.map((id, at) => [id.column, sat[at] || ""]));
      const data = { place: of.place, rows: unsaved(api), sitting, read_on: on || "", read_by: by || "" };
      pend();
      return { ...data, token: attempt(`${key()}:attempt`, JSON.stringify(data)), answers: answered(trigger), n: count() };
    },
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside, { readgrid: pull });
})();
