// The panel's formatters, held against what is spoken and plotted aboard; run by test_panel_words.py.

import assert from 'node:assert/strict'
import test from 'node:test'

const page = name => import(new URL(`../../plugin/signalk/public/${name}`, import.meta.url))
const f = await page('format.js')
const { legTables, manoeuvreWords, stages, turningPoints } = await page('boards.js')

test('a direction is three figures and never 360', () => {
  assert.deepEqual([0, 7.4, 48.2, 359.4, 359.7, 360, -1, 720].map(f.threeFigures), ['000°', '007°', '048°', '359°', '000°', '000°', '359°', '000°'])
})

test('what is not known is a dash, never NaN or null', () => {
  const writers = [f.threeFigures, f.steerWords, f.headingWords, f.angle, f.knots, f.miles, f.percent, f.countDown, f.hoursAndMinutes, f.clock, f.seconds, f.position, f.fixed]
  for (const write of writers) {
    for (const unknown of [null, undefined, NaN]) assert.equal(write(unknown), f.UNKNOWN, `${write.name}(${unknown})`)
  }
  assert.equal(f.clock('no time'), f.UNKNOWN)
})

test('a heading says which dial it is for', () => {
  assert.equal(f.steerWords(52.1, 48.4), '048° M')
  assert.equal(f.steerWords(52.1, null), '052° T')
  assert.equal(f.headingWords(48.2, 44.4, 41), '048°T 044°M 041°C')
  assert.equal(f.headingWords(48.2, 44.4), '048°T 044°M')
  assert.equal(f.headingWords(48.2, null, 41), '048°')
})

test('a count-down is minutes and seconds, from an hour on in words', () => {
  assert.deepEqual([0, 12, 59.4, 60, 702, 3599, 3600, 9860, -4].map(f.countDown), ['0:00', '0:12', '0:59', '1:00', '11:42', '59:59', '1 h 00 min', '2 h 44 min', '0:00'])
  assert.equal(f.countDown(59.6), '1:00', 'never 0:60')
  assert.equal(f.countDown(3599.7), '1 h 00 min', 'never 60:00')
})

test('distances to go show cables below a mile', () => {
  assert.deepEqual([0, 0.07, 0.994, 0.996, 1.31, 15.06].map(f.miles), ['0.00 nm', '0.07 nm', '0.99 nm', '1.0 nm', '1.3 nm', '15.1 nm'])
})

test('places are degrees and decimal minutes', () => {
  assert.equal(f.position(57.50833, -11.3333333), "57°30.50'N 011°20.00'W")
  assert.equal(f.position(-0.99999, 179.999999), "01°00.00'S 180°00.00'E", 'never 60.00 minutes')
})

test('lines of the grid are named short', () => {
  assert.deepEqual([56 + 40 / 60, 57, 0, -0.5].map(lat => f.gridWords(lat, 'lat')), ["56°40'N", '57°N', '00°', "00°30'S"])
  assert.deepEqual([11 + 50.5 / 60, -179.75, 180, -180].map(lon => f.gridWords(lon, 'lon')), ["011°50.5'E", "179°45'W", '180°', '180°'])
})

test('longitudes are unwrapped about another', () => {
  assert.equal(f.near(-179.5, 179), 180.5)
  assert.equal(f.near(179.5, -179), -180.5)
  assert.equal(f.near(12, 12.5), 12)
  assert.equal(f.near(12, 372.5), 372)
  assert.equal(f.wrapped(190), -170)
})

test('the first sentence of a caution stands alone', () => {
  assert.deepEqual(f.firstSentence('Not for sole navigation. Charts come first.'), ['Not for sole navigation.', 'Charts come first.'])
  assert.deepEqual(f.firstSentence('Mind 0.5 nm off. Go'), ['Mind 0.5 nm off.', 'Go'])
  assert.deepEqual(f.firstSentence('No end'), ['No end', ''])
})

const at = time => `2027-06-12T${time}:00Z`
const board = (from, to, tack, sails = 'main and jib') => ({
  tack, sail_set: sails, steer: 'angle', heading_deg: 10, awa_deg: 27.3, twa_deg: 44, boat_speed_kn: 5.5, distance_nm: 2, elapsed_h: 0.5,
  start: { lat: 56, lon: 12, time: at(from) }, end: { lat: 56.1, lon: 12, time: at(to) }
})
const turn = (kind, time, cost = 45) => ({ kind, lat: 56, lon: 12, time: at(time), cost_s: cost })

test('turning points have the names of the plan, and belong to the board that begins there', () => {
  const pole = [turn('gybe', '06:00'), turn('set_pole', '06:01')]
  const leg = {
    from: 'A', to: 'B', boards: [board('05:00', '06:00', 'port'), { ...board('06:05', '07:00', 'starboard', 'wing-and-wing'), manoeuvres: pole, point: 'G3' }]
  }
  assert.deepEqual(stages(leg).map(stage => stage.name), [null, 'G3'])
  assert.deepEqual(stages(leg)[1].manoeuvres.map(each => each.kind), ['gybe', 'set_pole'])
  assert.deepEqual(turningPoints({ legs: [leg] }).map(each => each.name), ['G3'])
})

test('a passage past midnight tells the new date once', () => {
  const leg = { from: 'A', to: 'B', manoeuvres: [], reasons: [], boards: [board('23:00', '23:50', 'port')] }
  const late = { ...leg.boards[0], start: { ...leg.boards[0].start, time: '2027-06-13T00:10:00Z' }, end: { ...leg.boards[0].end, time: '2027-06-13T01:00:00Z' } }
  const rows = legTables({ departure: at('23:00'), legs: [{ ...leg, boards: [leg.boards[0], late] }] })[0].rows
  assert.deepEqual(rows.map(row => row.date), [null, '2027-06-13', null, null])
})

test('a manoeuvre of a later version is named, not dropped', () => {
  assert.equal(manoeuvreWords(['gybe', 'hoist'], 'port', 'x'), 'gybe onto port tack, hoist')
})
