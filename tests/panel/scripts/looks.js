// How each room with figures that age is drawn: frame, ground and ink.
() => Object.fromEntries([...document.querySelectorAll('.old-with-link')]
  .filter(each => each.getClientRects().length)
  .map(each => {
    const { borderTopStyle, borderTopWidth, backgroundImage } = getComputedStyle(each)
    const words = [...each.querySelectorAll('p, dd, td')].map(one => getComputedStyle(one))
    const inks = words.map(({ color, opacity }) => color + opacity)
    return [each.id, [borderTopStyle, borderTopWidth, backgroundImage, ...inks].join(' ')]
  }))
