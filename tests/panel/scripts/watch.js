// Note which times the page shows, and how it says its link is, from now on.
() => {
  globalThis.seen = new Set()
  globalThis.links = new Set()
  setInterval(() => {
    seen.add(document.getElementById('host-time').textContent)
    links.add(document.documentElement.dataset.link)
  }, 100)
}
