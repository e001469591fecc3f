/* Figures that follow the scheme of the page wherever they stand: a part with data-scheme names the store to tell. */
new MutationObserver(() => {
  for (const part of document.querySelectorAll("[data-scheme]")) {
    window.dash_clientside.set_props(part.dataset.scheme, { data: document.documentElement.dataset.mantineColorScheme || "light" });
  }
}).observe(document.documentElement, { attributes: true, attributeFilter: ["data-mantine-color-scheme"] });

/* The file input of a logger's, a gauge's or a protocol's form has no name of its own: it is called what its label and help say. */
new MutationObserver(() => {
  const input = document.querySelector(':is(#logger-file, #trace-files, #amend-file) input[type="file"]:not([aria-labelledby])');
  if (!input) return;
  const form = input.closest("#logger-file, #trace-files, #amend-file").id;
  input.setAttribute("aria-labelledby", `${form}-label`);
  input.setAttribute("aria-describedby", `${form}-help ${form.replace(/-files?$/, "")}-chosen`);
  input.addEventListener("keydown", (press) => {
    if (press.key !== "Enter") return;
    press.preventDefault(); // its own click comes before the browser knows that a person pressed
    setTimeout(() => input.click(), 0);
  });
}).observe(document.documentElement, { childList: true, subtree: true });
