// Grounds, larger than a button, that light up the cabin.
() => [...document.querySelectorAll('body, body *')].flatMap(each => {
  const style = getComputedStyle(each)
  const area = each.getBoundingClientRect()
  const [r, g, b, a = 1] = (style.backgroundColor.match(/[\d.]+/g) ?? []).map(Number)
  const bright = 0.2126 * r + 0.7152 * g + 0.0722 * b > 90
  return a > 0.5 && area.width * area.height > 5000 && bright
    ? [`${each.id || each.className} ${style.backgroundColor}`]
    : []
})
