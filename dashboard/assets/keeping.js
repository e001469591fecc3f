/* Saved or not: what is typed in a form is said to be unsaved until the study file has it. */
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  dwellbook: {
    keeping: (values, kept) => {
      const first = window.dash_clientside.callback_context.triggered[0];
      if (first && first.prop_id === "kept.data" && kept) return kept;
      return values.some((value) => value) ? "Typed, not saved yet." : "Nothing typed yet.";
    },
  },
});
