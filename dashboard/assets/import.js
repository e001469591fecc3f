/* A sheet chosen to be read: its name and size are said before anything is sent; its file input is named. */
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  importing: {
    chosen: (contents, said, name) => {
      if (!contents) return ["No file is chosen.", "quiet"];
      const read = window.dash_clientside.callback_context.triggered_id === "sheet-said";
      const size = window.dwellfile.size(contents), words = window.dwellfile.words(size);
      if (size > 8 * 1024 * 1024) return [`${name} (${words}) is larger than 8\u202fMB: split it, or use dwellbook read import.`, "harm"];
      return [`${read ? "Read" : "Chosen, not read yet"}: ${name} (${words}).`, ""];
    },
  },
});

new MutationObserver(() => {
  const input = document.querySelector('#sheet-file input[type="file"]:not([aria-labelledby])');
  if (!input) return;
  input.setAttribute("aria-labelledby", "sheet-file-label");
  input.setAttribute("aria-describedby", "sheet-file-help sheet-chosen");
  input.addEventListener("keydown", (press) => {
    if (press.key !== "Enter") return;
    press.preventDefault();
    setTimeout(() => input.click(), 0);
  });
}).observe(document.documentElement, { childList: true, subtree: true });
