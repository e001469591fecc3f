/* Files chosen to be attached: their names and size are said before anything is sent. */
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  attachments: {
    chosen: (contents, names) => {
      if (!contents || !contents.length) return ["No file is chosen.", "quiet", true];
      const most = 25 * 1024 * 1024;
      const { size, words } = window.dwellfile;
      const sizes = contents.map(size);
      const total = sizes.reduce((sum, size) => sum + size, 0);
      const list = names.map((name, place) => `${name} (${words(sizes[place])})`).join(", ");
      if (total > most) return [`${list}: ${words(total)} together are more than can be attached at once. Choose fewer, or save them smaller.`, "harm", true];
      return [`Chosen, not attached yet: ${list}.`, "", false];
    },
  },
});

/* The file input has no name of its own: it is called what its label and help say. */
new MutationObserver(() => {
  const input = document.querySelector('#attach-files input[type="file"]:not([aria-labelledby])');
  if (!input) return;
  input.setAttribute("aria-labelledby", "attach-files-label");
  input.setAttribute("aria-describedby", "attach-files-help attach-chosen");
  input.addEventListener("keydown", (press) => {
    if (press.key !== "Enter") return;
    press.preventDefault(); // its own click comes before the browser knows that a person pressed
    setTimeout(() => input.click(), 0);
  });
}).observe(document.documentElement, { childList: true, subtree: true });
