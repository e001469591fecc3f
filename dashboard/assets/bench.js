/* The bench: the look of grids, and a block pasted into one. */
window.dashAgGridFunctions = Object.assign(window.dashAgGridFunctions || {}, {
  benchTheme: (theme) => theme.withParams({
    backgroundColor: "var(--card)", foregroundColor: "var(--ink)", textColor: "var(--ink)", borderColor: "var(--rule)",
    accentColor: "var(--accent)", headerBackgroundColor: "var(--card)", headerTextColor: "var(--quiet)",
    headerFontWeight: 400, headerFontSize: 13, fontFamily: "inherit", fontSize: 14, oddRowBackgroundColor: "var(--card)",
    rowHoverColor: "transparent", wrapperBorderRadius: 6, cellHorizontalPadding: 10, columnBorder: true,
    menuBackgroundColor: "var(--card)", inputBackgroundColor: "var(--card)", browserColorScheme: "inherit",
    tooltipBackgroundColor: "var(--card)", tooltipTextColor: "var(--ink)", selectCellBackgroundColor: "var(--card)",
  }),
});

document.addEventListener("paste", async (event) => {
  const wrap = event.target.closest?.("[data-paste-grid]");
  if (!wrap) return;
  const text = event.clipboardData.getData("text/plain");
  if (event.target.matches("input, textarea") && !/[\t\n]/.test(text)) return; // one value into an open cell
  event.preventDefault();
  const api = await window.dash_ag_grid.getApiAsync(wrap.dataset.pasteGrid);
  const at = api.getFocusedCell();
  if (!at) return;
  api.stopEditing(true);
  const columns = api.getAllDisplayedColumns().filter((column) => column.getColDef().editable !== false);
  const first = columns.indexOf(at.column);
  let taken = 0, dropped = 0;
  text.replace(/\r/g, "").replace(/\n$/, "").split("\n").forEach((line, down) => {
    const node = api.getDisplayedRowAtIndex(at.rowIndex + down);
    line.split("\t").forEach((value, across) => {
      const column = columns[first + across];
      if (!node || !column) { if (value.trim()) dropped += 1; return; }
      node.setDataValue(column, value.trim(), "paste");
      taken += 1;
    });
  });
  const cells = (n) => (n === 1 ? "1 cell" : `${n} cells`);
  window.dash_clientside.set_props("grid-pasted", {
    children: `${cells(taken)} pasted, not saved yet.` + (dropped ? ` ${cells(dropped)} fell off the edge: add more rows, or begin further left.` : ""),
  });
});

/* Whether what stands in a form, a grid or a block is saved: its token is spent with each saving. */
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  register: {
    kept: (typed) => {
      const fired = window.dash_clientside.callback_context.triggered.map((one) => one.prop_id);
      if (fired.some((name) => name.includes("token"))) return "Saved.";
      const first = Array.isArray(typed) ? typed[0] : typed;
      return first && String(first).trim() ? "Typed, not saved yet." : "Nothing typed yet.";
    },
  },
});
