/** The boards as a table. */

import { make } from './dom.js'
import { legTables } from './boards.js'

const HEADS = ['UTC', 'Board', 'Steer', 'AWA', 'kn', 'nm', 'Lasts']

const magnetic = plan => plan.legs.some(leg => leg.boards.some(board => Number.isFinite(board.heading_magnetic_deg)))

export function boardsTable (plan) {
  const head = make('thead', {}, make('tr', {}, HEADS.map((name, at) => make('th', { scope: 'col', class: at > 1 ? 'number' : null }, name === 'Steer' && !magnetic(plan) ? 'Steer T' : name))))
  return [head, ...legTables(plan).map(legBody)]
}

function legBody (leg) {
  const title = make('tr', { class: 'leg' }, make('th', { scope: 'rowgroup', colspan: HEADS.length }, leg.title))
  const reasons = leg.reasons.length ? [make('tr', { class: 'reasons' }, make('td', { colspan: HEADS.length }, leg.reasons.map(each => make('p', {}, each))))] : []
  return make('tbody', { 'data-leg': leg.number }, title, leg.rows.map(row => rowOf(row, leg.number)), reasons)
}

function rowOf (row, leg) {
  const time = make('td', {}, row.date ? make('span', { class: 'date' }, row.date) : null, row.date ? ' ' : null, row.time)
  if (row.kind === 'board') return boardRow(row, leg, time)
  const name = row.name ? make('b', { class: 'point' }, row.name) : null
  return make('tr', { class: row.kind }, time, make('td', { colspan: HEADS.length - 1 }, name, name ? ' ' : null, row.words, row.at ? make('span', { class: 'at' }, ` ${row.at}`) : null))
}

function boardRow (row, leg, time) {
  const [tack, sails] = [row.words.slice(0, row.words.indexOf(',')), row.words.slice(row.words.indexOf(','))]
  const words = make('td', {},
    make('span', { class: `tack ${row.tack}` }, tack), sails,
    row.more.map(each => make('span', { class: 'more' }, ` ${each}`)),
    make('span', { class: 'here' }))
  const steer = make('td', { class: 'number' }, row.steer.split(' ').flatMap((each, at) => [at ? ' ' : null, make('span', { class: 'dial' }, each)]))
  const rest = [row.awa, row.kn, row.nm, row.lasts.replace(/(\d) (?=h|min)/g, '$1\u00a0')].map(each => make('td', { class: 'number' }, each))
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
