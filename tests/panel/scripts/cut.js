// Text that is wider than its box and can’t be scrolled to; the chart is meant to be cut.
() => [...document.querySelectorAll('body *')].filter(each => {
  if (each.closest('#chart, .unseen, svg') || !each.getClientRects().length) return false
  const {left, right, width} = each.getBoundingClientRect()
  if (width <= 1) return false  // for ears only
  const cut = getComputedStyle(each).overflowX !== 'visible'
  return right > innerWidth + 0.5 || left < -0.5 || (each.scrollWidth > each.clientWidth + 1 && cut)
}).map(each => `${each.tagName}#${each.id}.${each.className} ${each.textContent.slice(0, 40)}`)
