/* What the browser alone knows: which of light and dark is shown; an answer outside the window is brought into it. */
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

/* A press is a click also when the page moves under it: what an answer brings in above a button pushes it away. The
   browser's own click, of a mouse or a finger, then falls on whatever came there; it is meant for what was pressed. */
(() => {
  let pressed = null;
  const near = (event) => Math.hypot(event.clientX - pressed.x, event.clientY - pressed.y) < 5;
  document.addEventListener("pointerdown", (event) => {
    const button = event.button === 0 && event.target.closest?.("button");
    pressed = button ? { button, x: event.clientX, y: event.clientY } : null;
  }, true);
  document.addEventListener("click", (event) => {
    const { button } = pressed || {};
    /* A key's click has no detail. */
    const missed = event.detail && button?.isConnected && !button.contains(event.target) && near(event);
    pressed = null;
    if (!missed) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    button.click();
  }, true);
})();

window.dash_clientside = Object.assign({}, window.dash_clientside, {
  dwellbook: {
    scheme: () => schemeNow(),
  },
});
