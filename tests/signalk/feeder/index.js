'use strict'

// For tests only: hands deltas to the host as any other plugin would, keeps what became of
// resources, and gives a forecast.

module.exports = app => {
  const heard = []
  const unsubscribes = []
  let forecast = null
  let askedFor = null
  const provider = {
    name: 'Test forecast',
    methods: {
      getForecasts: async (position, type) => {
        askedFor = position
        return forecast.map(report => ({ ...report, type }))
      },
      getObservations: async () => [],
      getWarnings: async () => []
    }
  }
  return {
    id: 'feeder',
    name: 'feeder',
    schema: {},
    start () {
      const subscribe = ['resources.*', 'navigation.course.*', 'notifications.*', 'steering.*'].map(path => ({ path, policy: 'instant' }))
      app.subscriptionmanager.subscribe({ context: 'vessels.self', subscribe }, unsubscribes, () => {}, delta => {
        for (const { values } of delta.updates) for (const value of values || []) heard.push(value)
      })
    },
    stop () {
      unsubscribes.forEach(end => end())
    },
    registerWithRouter (router) {
      router.post('/delta', (req, res) => {
        // JSON has no word for these, a driver has.
        const odd = { NaN, Infinity }
        for (const { values } of req.body.updates) {
          for (const entry of values) if (Object.hasOwn(odd, entry.value)) entry.value = odd[entry.value]
        }
        app.handleMessage('feeder', req.body)
        res.json({})
      })
      router.post('/forecast', (req, res) => {
        forecast = req.body
        app.registerWeatherProvider(provider)
        res.json({})
      })
      router.get('/asked', (req, res) => res.json(askedFor))
      router.get('/heard', (req, res) => res.json(heard))
    }
  }
}
