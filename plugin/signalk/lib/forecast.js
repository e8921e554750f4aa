'use strict'

/**
 * The host's forecast for one place, over the host's own port: asked for within the host, it
 * comes for another position (measured on 2.23.0: latitude 0, longitude 0).
 */

const http = require('node:http')
const https = require('node:https')

const ASK_MS = 5000
const TRIES = 4
const BETWEEN_MS = 1500
const MOST_BYTES = 4 * 1024 * 1024
const STEPS = 96

// Units change here because a forecast is the one thing the plugin itself reads from the host's
// own reports: 1 kn = 1852 m / 3600 s, exactly.
const knots = speed => (Number.isFinite(speed) ? (speed * 3600) / 1852 : null)
const degrees = angle => (Number.isFinite(angle) ? (angle * 180) / Math.PI : null)

/** `{steps: [...]}`, or `{steps: null, why}`: a plan does without a forecast. */
async function forecastFor (app, place) {
  if (!place) return { steps: null, why: 'no place to ask it for' }
  for (let attempt = 1; ; attempt += 1) {
    try {
      const steps = asSteps(await ask(app, place))
      return steps.length ? { steps } : { steps: null, why: 'the provider gave no wind' }
    } catch (error) {
      // A host that is still starting does not listen yet.
      if (error.code !== 'ECONNREFUSED' || attempt === TRIES) return { steps: null, why: error.message }
      await new Promise(resolve => setTimeout(resolve, BETWEEN_MS))
    }
  }
}

function asSteps (reports) {
  if (!Array.isArray(reports)) return []
  const usable = reports.filter(report => !Number.isNaN(Date.parse(report?.date)) &&
    Number.isFinite(report.wind?.speedTrue) && Number.isFinite(report.wind?.directionTrue))
  return usable.map(({ date, wind, water }) => ({
    time: new Date(date).toISOString(),
    wind_from_deg: degrees(wind.directionTrue),
    wind_kn: knots(wind.speedTrue),
    gust_kn: knots(wind.gust),
    set_deg: degrees(water?.surfaceCurrentDirection),
    drift_kn: knots(water?.surfaceCurrentSpeed)
  }))
}

function ownAddress (app) {
  const settings = app.config?.settings || {}
  const inherited = Number(process.env.LISTEN_FDS) > 0 && Number(process.env.EXTERNALPORT)
  if (settings.ssl) return { web: https, port: inherited || Number(process.env.SSLPORT) || settings.sslport || 3443 }
  return { web: http, port: inherited || Number(process.env.PORT) || settings.port || 3000 }
}

function ask (app, { latitude, longitude }) {
  const { web, port } = ownAddress(app)
  const path = `/signalk/v2/api/weather/forecasts/point?lat=${latitude}&lon=${longitude}&count=${STEPS}`
  return new Promise((resolve, reject) => {
    // The host's certificate is its own; the way is the machine's own loopback.
    const request = web.get({ host: '127.0.0.1', port, path, timeout: ASK_MS, rejectUnauthorized: false }, response => {
      read(response, resolve, reject)
    })
    request.on('timeout', () => request.destroy(new Error('the host gave no answer')))
    request.on('error', reject)
  })
}

function read (response, resolve, reject) {
  let body = ''
  response.setEncoding('utf8')
  response.on('data', text => {
    body += text
    if (body.length > MOST_BYTES) response.destroy(new Error('the forecast is too long'))
  })
  response.on('error', reject)
  response.on('end', () => {
    try {
      const answer = JSON.parse(body)
      if (response.statusCode === 200) resolve(answer)
      else reject(new Error(String(answer.message || response.statusCode)))
    } catch {
      reject(new Error(`the host answered ${response.statusCode}`))
    }
  })
}

module.exports = { forecastFor }
