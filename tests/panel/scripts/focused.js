// What has the focus, and whether that is seen.
() => {
  const each = document.activeElement
  const { outlineStyle, outlineWidth, boxShadow } = getComputedStyle(each)
  const { top, bottom, left, right } = each.getBoundingClientRect()
  const middle = Math.min(Math.max((top + bottom) / 2, 1), innerHeight - 1)
  const hit = document.elementFromPoint((left + right) / 2, middle)
  return {
    name: each === document.body ? '' : each.id || each.className || each.textContent,
    ring: (outlineStyle !== 'none' && parseFloat(outlineWidth) >= 2) || boxShadow !== 'none',
    inside: bottom > 0 && top < innerHeight,
    covered: !(each.contains(hit) || hit?.contains(each))
  }
}
