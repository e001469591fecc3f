/* Planning: the figure of a trial follows the scheme of the page; what is counted is what stands in the form now. */
new MutationObserver(() => {
  if (document.getElementById("trial-figures")) {
    window.dash_clientside.set_props("trial-scheme", { data: document.documentElement.dataset.mantineColorScheme || "light" });
  }
}).observe(document.documentElement, { attributes: true, attributeFilter: ["data-mantine-color-scheme"] });

(() => {
  const now = { n: 0, typed: null };
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    planning: {
      gather: () => {
        now.typed = JSON.parse(JSON.stringify(window.dash_clientside.callback_context.inputs_list));
        now.n += 1;
        return { n: now.n, typed: now.typed };
      },
      // Two answers may come in the wrong order: if an older one came last, the form is counted once more.
      counted: (kept) => {
        const n = kept ? kept.n : now.n;
        setTimeout(() => {
          if (n === kept?.n && n < now.n && now.shown === n && document.getElementById("plan-size")) {
            now.n += 1;
            window.dash_clientside.set_props("plan-typed", { data: { n: now.n, typed: now.typed } });
          }
        }, 400);
        now.shown = n;
        return n;
      },
    },
  });
})();
