// Everything that can be worked, by name.
() => [...document.querySelectorAll('button, select, input, a[href], summary, [tabindex]')]
  .filter(each => each.checkVisibility({ visibilityProperty: true }))
  .filter(each => !each.disabled && each.tabIndex >= 0 && !each.closest('dialog:not([open])'))
  .map(each => each.id || each.className || each.textContent)
