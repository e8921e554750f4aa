"""A route as somebody might write it by hand."""


def marks_gpx(*places):
    """GPX of a route over places, latitude and longitude each, named M0, M1 and so on."""
    points = "".join(
        f'<rtept lat="{lat:.6f}" lon="{lon:.6f}"><name>M{number}</name></rtept>'
        for number, (lat, lon) in enumerate(places)
    )
    return (
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="by hand">'
        f"<rte>{points}</rte></gpx>"
    )
