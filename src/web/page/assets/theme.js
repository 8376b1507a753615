"use strict";
// Before anything is drawn: the scheme somebody chose, if somebody did.
try {
  const chosen = localStorage.getItem("lauterd-theme");
  if (chosen) document.documentElement.dataset.theme = chosen;
} catch { /* storage may be switched off */ }
