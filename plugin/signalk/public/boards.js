/** A plan as rows of a table, worded as the engine words it: pure functions, no page. */

import { angle, clock, day, fixed, headingWords, hoursAndMinutes, position, shortTime, wrapped } from './format.js'

/** What the crew does at one place. */
export function manoeuvreWords (kinds, tack, sailSet) {
  const said = {
    tack: `onto ${tack} tack`,
    gybe: `gybe onto ${tack} tack`,
    set_pole: `set the pole for ${sailSet}`,
    strike_pole: 'strike the pole',
    change_sails: `change to ${sailSet}`
  }
  return kinds.map(kind => said[kind] ?? kind).join(', ')
}

/** Each board of a leg with what is done where it begins, and what that place is called. */
export function stages (leg) {
  return leg.boards.map(board => ({ name: board.point ?? null, manoeuvres: board.manoeuvres ?? [], board }))
}

/** Where she turns, named as everywhere else the plan is shown. */
export function turningPoints (plan) {
  return plan.legs.flatMap(leg => stages(leg).filter(({ name }) => name).map(({ name, manoeuvres, board }) => ({
    name,
    lat: board.start.lat,
    lon: board.start.lon,
    tack: board.tack,
    words: manoeuvreWords(manoeuvres.map(each => each.kind), board.tack, board.sail_set) || 'alter course'
  })))
}

/** Whether the helm keeps an angle to the wind, not a heading, all along a board. */
function angleWords (board) {
  const swings = (board.points ?? []).some(each => Math.abs(wrapped(each.heading_deg - board.heading_deg)) > 1)
  return board.steer === 'angle' && swings ? `keep the true wind at ${angle(board.twa_deg)}` : null
}

function reachedRow (leg, mark, board) {
  if (!mark?.leave) return { kind: 'mark', time: clock(board.end.time), words: `${leg.to} reached` }
  const off = mark.leave_distance_nm ? `, ${Number(mark.leave_distance_nm.toPrecision(6))} nm off` : ''
  return {
    kind: 'mark',
    time: clock(board.end.time),
    words: `${leg.to}: leave to ${mark.leave}${off}`,
    at: `at ${position(board.end.lat, board.end.lon)}`
  }
}

function turnRow ({ name, manoeuvres, board }, number) {
  const kinds = manoeuvres.map(each => each.kind)
  const cost = manoeuvres.reduce((sum, each) => sum + each.cost_s, 0)
  const begun = kinds.length ? manoeuvres[0].time : board.start.time
  return {
    kind: 'turn',
    time: clock(begun),
    iso: begun,
    name,
    words: kinds.length ? `${manoeuvreWords(kinds, board.tack, board.sail_set)} (${shortTime(cost)})` : 'alter course',
    at: number ? `at ${position(board.start.lat, board.start.lon)}` : null
  }
}

function boardRow (board, number) {
  return {
    kind: 'board',
    number,
    tack: board.tack,
    poled: board.poled === true,
    time: clock(board.start.time),
    iso: board.start.time,
    words: `${board.tack} tack, ${board.sail_set}`,
    more: [angleWords(board), board.beyond_forecast ? 'beyond the forecast' : null].filter(Boolean),
    steer: headingWords(board.heading_deg, board.heading_magnetic_deg, board.heading_compass_deg),
    awa: angle(board.awa_deg),
    kn: fixed(board.boat_speed_kn, 1),
    nm: fixed(board.distance_nm, 1),
    lasts: hoursAndMinutes(board.elapsed_h)
  }
}

/** The whole plan: a title and rows for each leg; a row whose date is new carries it. */
export function legTables (plan) {
  let told = day(plan.departure)
  const dated = row => {
    const now = row.iso ? day(row.iso) : told
    const date = now === told ? null : now
    told = now
    return { ...row, date }
  }
  return plan.legs.map((leg, index) => {
    const rows = stages(leg).flatMap((stage, number) => [
      ...(stage.manoeuvres.length || number ? [turnRow(stage, number)] : []),
      boardRow(stage.board, number)
    ])
    const last = leg.boards.at(-1)
    rows.push({ ...reachedRow(leg, plan.marks?.[index + 1], last), iso: last.end.time })
    return { title: `Leg ${index + 1}  ${leg.from} to ${leg.to}`, number: index, rows: rows.map(dated), reasons: leg.reasons ?? [] }
  })
}

/** When she arrives, and what it takes. */
export function summary (plan) {
  return `Arrival ${plan.arrival.slice(0, 10)} ${clock(plan.arrival)}: ${hoursAndMinutes(plan.elapsed_h)}, ` +
    `${fixed(plan.distance_nm, 1)} nm over the ground, ${fixed(plan.log_nm, 1)} nm by log.`
}
