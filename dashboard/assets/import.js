/* A sheet chosen to be read: its name and size are said before anything is sent; its file input is named. */
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  importing: {
    chosen: (contents, said, name) => {
      if (!contents) return ["No file is chosen.", "quiet"];
      const read = window.dash_clientside.callback_context.triggered_id === "sheet-said";
      const size = Math.floor((contents.length - contents.indexOf(",") - 1) * 3 / 4);
      const words = size < 999500 ? `${Math.max(1, Math.round(size / 1000))}\u2009kB` : `${(size / 1e6).toFixed(1)}\u2009MB`;
      if (size > 8 * 1024 * 1024) return [`${name} (${words}) is larger than 8\u2009MB: split it, or use dwellbook read import.`, "harm"];
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
