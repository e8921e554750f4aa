/** The boards as a table: the engine's rows, one below the other. */

import { make } from './dom.js'

export function boardsTable (shown) {
  const head = make('thead', {}, make('tr', {}, shown.heads.map((name, at) => make('th', { scope: 'col', class: at > 1 ? 'number' : null }, name))))
  return [head, ...shown.legs.map((leg, number) => legBody(leg, number, shown.heads.length))]
}

function legBody (leg, number, columns) {
  const title = make('tr', { class: 'leg' }, make('th', { scope: 'rowgroup', colspan: columns }, leg.title))
  const reasons = leg.reasons.length ? [make('tr', { class: 'reasons' }, make('td', { colspan: columns }, leg.reasons.map(each => make('p', {}, each))))] : []
  return make('tbody', { 'data-leg': number }, title, leg.rows.map(row => rowOf(row, number, columns)), reasons)
}

const spaced = (names, classes, each) => each.flatMap((words, at) => [at ? ' ' : null, make(names, { class: classes }, words)])

function rowOf (row, leg, columns) {
  const time = make('td', {}, row.date ? make('span', { class: 'date' }, row.date) : null, row.date ? ' ' : null, row.time)
  if (row.kind === 'board') return boardRow(row, leg, time)
  const name = row.name ? make('b', { class: 'point' }, row.name) : null
  const steer = row.steer?.length ? [make('td', { class: 'number' }, spaced('span', 'dial', row.steer)), make('td', { colspan: columns - 3 })] : []
  const words = make('td', { colspan: steer.length ? 1 : columns - 1 }, name, name ? ' ' : null, row.words,
    row.at ? make('span', { class: 'at' }, ` ${row.at}`) : null,
    (row.more ?? []).map(each => make('span', { class: 'more' }, ` ${each}`)))
  return make('tr', { class: row.kind }, time, words, ...steer)
}

function boardRow (row, leg, time) {
  const words = make('td', {},
    row.on ? make('span', { class: `tack ${row.tack}` }, row.on) : null, row.on ? ', ' : null, row.sails,
    row.more.map(each => make('span', { class: 'more' }, ` ${each}`)),
    make('span', { class: 'here' }))
  const steer = make('td', { class: 'number' }, spaced('span', 'dial', row.steer))
  const rest = row.figures.map(each => make('td', { class: 'number' }, each.replace(/(\d) (?=h|min)/g, '$1\u00a0')))
  return make('tr', { class: `board ${row.tack}${row.poled ? ' poled' : ''}`, 'data-leg': leg, 'data-board': row.number }, time, words, steer, ...rest)
}

/** Mark the board she is on: the numbered one of the first leg. */
export function markPresent (table, index) {
  for (const row of table.querySelectorAll('tr.board')) {
    const here = index !== null && row.dataset.leg === '0' && row.dataset.board === String(index)
    if (here === (row.getAttribute('aria-current') === 'step')) continue
    if (here) row.setAttribute('aria-current', 'step')
    else row.removeAttribute('aria-current')
    row.querySelector('.here').textContent = here ? ' she is here' : ''
  }
}
