/* A file that was chosen and is still in the browser: its size, and sizes as people say them. */
window.dwellfile = {
  /* Of what a chooser hands over, base64 behind a comma. */
  size: (text) => Math.floor((text.length - text.indexOf(",") - 1) * 3 / 4),
  words: (size) => size < 999500 ? `${Math.max(1, Math.round(size / 1000))}\u202fkB` : `${(size / 1e6).toFixed(1)}\u202fMB`,
};
