"""Sunrise, sunset and civil twilight against astral, which reckons by the same published method, and against ephem, which
goes by the planetary theory VSOP87 and shares nothing with it.

Ordinary places: between 60° south and 60° north, where the sun crosses the horizon at an angle. Within a minute.
"""

import datetime
import os
import random

import astral
import astral.sun
import ephem
import pytest

UTC = datetime.timezone.utc
MINUTE = datetime.timedelta(minutes=1)
DAYS = 300


@pytest.fixture(scope="module")
def days(ask):
    seed = int(os.environ.get("LAYWIRE_SEED", "1"))
    print(f"LAYWIRE_SEED={seed}")
    draw = random.Random(seed)
    first = datetime.date(1950, 1, 1)
    questions = [
        {
            "place": [round(draw.uniform(-179, 179), 4), round(draw.uniform(-60, 60), 4)],
            "date": (first + datetime.timedelta(days=draw.randrange(365 * 140))).isoformat(),
        }
        for _ in range(DAYS)
    ]
    answers = ask("sun", questions)
    when = datetime.datetime.fromisoformat
    read = lambda answer, name: answer[name] and when(answer[name].replace("Z", "+00:00"))
    names = ("noon", "rise", "set", "dawn", "dusk")
    return [(q, {name: read(a, name) for name in names}) for q, a in zip(questions, answers, strict=True)]


def nearest(ours, theirs):
    """The difference to the nearest of the same event on the days about."""
    return min(abs(ours - other) for other in theirs)


def test_astral_says_the_same(days):
    for question, sun in days:
        lon, lat = question["place"]
        place = astral.Observer(latitude=lat, longitude=lon, elevation=0)
        about = [datetime.date.fromisoformat(question["date"]) + datetime.timedelta(days=n) for n in (-1, 0, 1)]
        for name, event in (("noon", astral.sun.noon), ("rise", astral.sun.sunrise), ("set", astral.sun.sunset)):
            assert nearest(sun[name], [event(place, date, tzinfo=UTC) for date in about]) <= MINUTE, (name, question)
        for name, event in (("dawn", astral.sun.dawn), ("dusk", astral.sun.dusk)):
            if sun[name] is None:
                continue
            theirs = [event(place, date, depression=6, tzinfo=UTC) for date in about]
            assert nearest(sun[name], theirs) <= MINUTE, (name, question)


def events(place, horizon, name, noon):
    """The event before or after noon by ephem, from the sun's centre and without its refraction."""
    body = ephem.Sun()
    observer = ephem.Observer()
    observer.lon, observer.lat = (str(degrees) for degrees in place)
    observer.elevation, observer.pressure, observer.horizon = 0, 0, str(horizon)
    observer.date = ephem.Date(noon.replace(tzinfo=None))
    step = observer.previous_rising if name in ("rise", "dawn") else observer.next_setting
    return step(body, use_center=True).datetime().replace(tzinfo=UTC)


def test_ephem_says_the_same(days):
    for question, sun in days:
        for name, horizon in (("rise", -0.833), ("set", -0.833), ("dawn", -6), ("dusk", -6)):
            if sun[name] is None:
                continue
            theirs = events(question["place"], horizon, name, sun["noon"])
            assert abs(sun[name] - theirs) <= MINUTE, (name, question, sun[name], theirs)


def test_where_the_sun_does_not_set_or_does_not_rise_ephem_says_so_too(ask):
    questions, expected = [], []
    for lat in (66, 69, 72, 78, 85, -70, -80):
        for month in (1, 3, 6, 7, 9, 12):
            questions.append({"place": [20.0, float(lat)], "date": f"2026-{month:02}-21"})
    for question, answer in zip(questions, ask("sun", questions), strict=True):
        noon = datetime.datetime.fromisoformat(answer["noon"].replace("Z", "+00:00"))
        try:
            events(question["place"], -0.833, "set", noon)
            theirs = "sets"
        except ephem.AlwaysUpError:
            theirs = "up"
        except ephem.NeverUpError:
            theirs = "down"
        ours = "sets" if answer["set"] else ("up" if answer["up_at_noon"] else "down")
        assert ours == theirs, question
        expected.append(theirs)
    assert {"sets", "up", "down"} == set(expected)
