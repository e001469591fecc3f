/* Scanning at the shelf: each code ticks its tile at once; what is not on the list is asked of the study. */
(() => {
  const state = { scanned: [], codes: [], asked: 0 };
  const tidy = (typed) => {
    const letters = (typed || "").replace(/[\s\-_.]/g, "").toUpperCase();
    return letters.length === 5 ? `${letters.slice(0, 4)}-${letters.slice(4)}` : letters;
  };
  const keep = () => window.dash_clientside.no_update;
  const back = () => document.getElementById("scan")?.focus();

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    bench: {
      tally: (scanned, codes) => {
        state.scanned = scanned || [];
        state.codes = codes || [];
        const here = state.scanned.filter((code) => (codes || []).includes(code));
        requestAnimationFrame(() => document.querySelectorAll(".tile").forEach((tile) =>
          tile.setAttribute("aria-pressed", String(state.scanned.includes(tile.dataset.code)))));
        const away = state.scanned.length - here.length;
        const elsewhere = away ? ` ${away} of another list wait, not saved.` : "";
        if (!codes || !codes.length) return elsewhere.trim();
        return `${here.length} of ${codes.length} scanned${here.length ? ", not saved yet" : ""}.${elsewhere}`;
      },
      unsaved: (scanned) => {
        const n = (scanned || []).length;
        return n ? `${n === 1 ? "1 coupon is" : `${n} coupons are`} scanned and not saved yet: go on scanning to record them.` : "";
      },
      forget: (clicks, codes, scanned) => {
        if (!clicks) return [keep(), keep()];
        back();
        return [[], `${(scanned || []).length} scans forgotten; nothing was saved.`];
      },
    },
  });

  const say = (children) => window.dash_clientside.set_props("scan-said", { children });
  const scan = (typed) => {
    const code = tidy(typed);
    if (!state.codes.includes(code)) {
      say(`Looking for “${typed}” …`);
      window.dash_clientside.set_props("scan-asked", { data: { typed, n: ++state.asked } });
    } else if (state.scanned.includes(code)) {
      say(`${code} is scanned already.`);
    } else {
      state.scanned = [...state.scanned, code];
      window.dash_clientside.set_props("scanned", { data: state.scanned });
      say(`${code} scanned.`);
    }
  };
  // Read and emptied at the very key, since a scanner may begin its next code before the page has drawn itself anew.
  document.addEventListener("keydown", (event) => {
    const field = event.target;
    if (field.id !== "scan" || event.key !== "Enter") return;
    event.preventDefault();
    const typed = field.value.trim();
    Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set.call(field, "");
    field.dispatchEvent(new Event("input", { bubbles: true }));
    if (typed) scan(typed);
  }, true);

  document.addEventListener("click", (event) => {
    const tile = event.target.closest?.(".tile");
    if (tile) {
      const code = tile.dataset.code, on = state.scanned.includes(code);
      window.dash_clientside.set_props("scanned", { data: on ? state.scanned.filter((c) => c !== code) : [...state.scanned, code] });
      if (event.detail) back(); // a mouse; the keyboard stays where it is
    } else if (document.activeElement === document.body) back();
  });
  document.addEventListener("keydown", (event) => {
    const here = document.activeElement;
    if (event.key === "Enter" && ["pull-by", "pull-on"].includes(here?.id)) back();
    // A scan while nothing is being typed belongs to the scanning field, wherever the page was clicked last.
    const idle = here === document.body || here?.id === "work";
    if (idle && event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey) back();
  });
  new MutationObserver(() => {
    const field = document.getElementById("scan");
    if (field && !field.dataset.met) { field.dataset.met = "yes"; field.focus(); }
  }).observe(document.documentElement, { childList: true, subtree: true });
})();
