// Where all that the selectors name stands on the page: only what is seen.
selectors => selectors.flatMap(selector => [...document.querySelectorAll(selector)].flatMap(each => {
  const { left, top, right, bottom } = each.getBoundingClientRect()
  const name = `${selector} ${each.id ? '' : each.textContent.trim().slice(0, 20)}`
  return right > left && bottom > top && each.checkVisibility({ visibilityProperty: true })
    ? [{ name, left, top: top + scrollY, right, bottom: bottom + scrollY }]
    : []
}))
