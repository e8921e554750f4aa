/** Small hands for the page: every text goes in as text, never as markup. */

const SVG = 'http://www.w3.org/2000/svg'

export const byId = id => document.getElementById(id)

function filled (element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== null && value !== undefined && value !== false) element.setAttribute(name, value === true ? '' : value)
  }
  element.append(...children.flat().filter(each => each !== null && each !== undefined && each !== false))
  return element
}

export const make = (tag, attributes = {}, ...children) => filled(document.createElement(tag), attributes, children)

export const draw = (tag, attributes = {}, ...children) => filled(document.createElementNS(SVG, tag), attributes, children)

/** Write a text only where it differs: what has not changed is not read out again. */
export function say (element, text) {
  if (element.textContent !== text) element.textContent = text
}

export function show (element, shown) {
  if (element.hidden === shown) element.hidden = !shown
}
