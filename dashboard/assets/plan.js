/* The figure of a trial follows the scheme of the page. */
new MutationObserver(() => {
  if (document.getElementById("trial-figures")) {
    window.dash_clientside.set_props("trial-scheme", { data: document.documentElement.dataset.mantineColorScheme || "light" });
  }
}).observe(document.documentElement, { attributes: true, attributeFilter: ["data-mantine-color-scheme"] });
