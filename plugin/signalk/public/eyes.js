/* Day or night, before the first paint: what was chosen last, else what the device prefers. A classic script. */
(function () {
  let kept = null
  try { kept = localStorage.getItem('goosewing-eyes') } catch { /* a page may be denied a memory */ }
  const night = kept ? kept === 'night' : matchMedia('(prefers-color-scheme: dark)').matches
  document.documentElement.dataset.eyes = night ? 'night' : 'day'
})()
