/* What the browser alone knows: whether typed values are saved, and which of light and dark is shown. */
const schemeNow = () => document.documentElement.dataset.mantineColorScheme || "light";
new MutationObserver(() => {
  if (document.getElementById("figures")) window.dash_clientside.set_props("page-scheme", { data: schemeNow() });
}).observe(document.documentElement, { attributes: true, attributeFilter: ["data-mantine-color-scheme"] });

/* An answer that comes outside the window is brought into it, once for each answer. */
new MutationObserver((changes) => {
  for (const change of changes) {
    const said = change.target.closest?.(".said");
    if (said && change.addedNodes.length && said.querySelector(".message")) said.scrollIntoView({ block: "nearest" });
  }
}).observe(document.documentElement, { childList: true, subtree: true });

window.dash_clientside = Object.assign({}, window.dash_clientside, {
  dwellbook: {
    scheme: () => schemeNow(),
    keeping: (values, kept) => {
      const first = window.dash_clientside.callback_context.triggered[0];
      if (first && first.prop_id === "kept.data" && kept) return kept;
      return values.some((value) => value) ? "Typed, not saved yet." : "Nothing typed yet.";
    },
  },
});
