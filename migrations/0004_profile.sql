-- The figures that an operation was opened under. The log is judged by them for all its time, so that figures that are
-- built in later never make an old log unreadable.

alter table operation add column profile jsonb;

-- What stands here already was recorded under the field rules, before a civil height could govern.
update operation set profile = $profile${
 "name": "Field rules without civil heights",
 "heights": {
  "main_highway": {
   "public": {"yes": false, "source": "this operation was opened before civil heights were told apart: the field rule alone holds"},
   "field": {"m": 5.486400000000001, "source": "SS0440 pp. 29, 31: at least 18 ft over a primary road"},
   "civil": {"m": 4.7244, "source": "NESC rule 232: 15.5 ft over a road, street or land open to trucks, at the greatest sag"}
  },
  "road": {
   "public": {"yes": false, "source": "this operation was opened before civil heights were told apart: the field rule alone holds"},
   "field": {"m": 4.2672, "source": "SS0440 pp. 29, 31: at least 14 ft over a secondary road"},
   "civil": {"m": 4.7244, "source": "NESC rule 232: 15.5 ft over a road, street or land open to trucks, at the greatest sag"}
  },
  "dirt_road": {
   "public": {"yes": false, "source": "this operation was opened before civil heights were told apart: the field rule alone holds"},
   "field": {"m": 4.2672, "source": "SS0440 pp. 29, 31: at least 14 ft over a secondary road"},
   "civil": {"m": 4.7244, "source": "NESC rule 232: 15.5 ft over a road, street or land open to trucks, at the greatest sag"}
  },
  "path": {
   "public": {"yes": false, "source": "this operation was opened before civil heights were told apart: the field rule alone holds"},
   "field": {"m": 2.4384, "source": "GO 64-A rule 84.4: 8 ft where there are only pedestrians"},
   "civil": {"m": 2.8956, "source": "NESC rule 232, as quoted by engineerfix.com: 9.5 to 10 ft where there are only pedestrians"}
  }
 },
 "burial": {
  "depth": {"m": 0.1524, "source": "common practice, no source: at least 6 in"}
 },
 "span": {
  "normal": {"m": 30.48, "source": "SS0440 p. 33: normal span 100 ft"}
 },
 "railway": {
  "overhead": {"yes": false, "source": "SS0444 p. 25: under the rails, between the ties; a train's updraft lifts loose wire"},
  "stake_distance": {"m": 0.3048, "source": "SS0444 p. 25: stakes 1 to 2 ft beyond the rails on each side"},
  "slack": {"yes": false, "source": "SS0444 p. 25: secured to both stakes without slack"},
  "trench": {"yes": true, "source": "common practice, no source: trenched to the edge of the improved ground"}
 },
 "power_line": {
  "person": {
   "least": {"m": 3.048, "source": "29 CFR 1910.333(c)(3), from memory: unqualified persons 10 ft up to 50 kV"},
   "to_kv": 50,
   "more_per_10_kv": {"m": 0.1016, "source": "29 CFR 1910.333(c)(3), from memory: 4 in for each 10 kV above"}
  },
  "equipment": [
   {
    "to_kv": 50,
    "least": {"m": 3.048, "source": "29 CFR 1926.1408 table A: up to 50 kV 10 ft"}
   },
   {
    "to_kv": 200,
    "least": {"m": 4.572, "source": "29 CFR 1926.1408 table A: over 50 to 200 kV 15 ft"}
   },
   {
    "to_kv": 350,
    "least": {"m": 6.096, "source": "29 CFR 1926.1408 table A: over 200 to 350 kV 20 ft"}
   },
   {
    "to_kv": 500,
    "least": {"m": 7.62, "source": "29 CFR 1926.1408 table A: over 350 to 500 kV 25 ft"}
   },
   {
    "to_kv": 750,
    "least": {"m": 10.668000000000001, "source": "29 CFR 1926.1408 table A: over 500 to 750 kV 35 ft"}
   },
   {
    "to_kv": 1000,
    "least": {"m": 13.716000000000001, "source": "29 CFR 1926.1408 table A: over 750 to 1000 kV 45 ft"}
   }
  ]
 },
 "reach": {
  "culvert": {"m": 150, "source": "planning value, editable"},
  "bridge": {"m": 300, "source": "planning value, editable"}
 },
 "wire": {
  "slack": {"percent": 20, "source": "SS0444 p. 23: about 20 % of the distance"},
  "end": {"m": 10, "source": "planning value, editable: down to the instrument, and enough to repair a break (SS0440 p. 29)"},
  "tail": {"m": 2, "source": "planning value, editable: enough behind each tie to repair a break (SS0440 p. 29)"},
  "trench_spare": {"m": 1, "source": "planning value, editable: a spare length in the trench (common practice, no source)"},
  "splice": {"m": 0.3, "source": "planning value, editable: 6 in of stagger (SS0440 p. 49) and two ends of knot and seizing"},
  "sag": {"percent": 2, "source": "planning value, editable: sag of 2 % of the span"},
  "over_water": {"m": 3, "source": "planning value, editable"}
 },
 "no_splice": {
  "stream_spans": {"yes": true, "source": "common practice, no source"},
  "overhead_spans": {"yes": true, "source": "SS04377 p. 22: the weaker conductor of a splice breaks first there"},
  "culverts": {"yes": true, "source": "common practice, no source"},
  "bridges": {"yes": false, "source": "common practice, no source"},
  "rails": {"yes": true, "source": "common practice, no source"},
  "trenches": {"yes": true, "source": "common practice, no source"},
  "ladders": {"yes": true, "source": "common practice, no source: it has splices of its own at both sides"},
  "clear": {"m": 2, "source": "planning value, editable"}
 },
 "pace": {
  "night": {"times": 1.5, "source": "Seabee: man-hours at night × 1.5, published for wire obstacles, so by analogy only"},
  "reel_change": {"min": 5, "source": "planning value, editable"},
  "end_test": {"min": 5, "source": "planning value, editable"},
  "laying": {
   "vehicle": {
    "day": {"m_per_min": 160.9344, "source": "planning value, editable: no faster than Corcoran 1917's wagon, 6 mph"},
    "night": {"m_per_min": 80.4672, "source": "915th: a laying truck at night without lights goes 3 mph"}
   },
   "wagon": {
    "day": {"m_per_min": 160.9344, "source": "Corcoran 1917: a cable wagon lays about 6 mph"},
    "night": {"m_per_min": 107.28960000000001, "source": "planning value, editable: Corcoran 1917's 6 mph, slowed by Seabee's night factor of 1.5"}
   },
   "foot": {
    "day": {"m_per_min": 28.163520000000002, "source": "planning value, editable: Signaller 2005's night rate, by Seabee's night factor of 1.5"},
    "night": {"m_per_min": 18.77568, "source": "Signaller 2005: three people, 2 miles in about 3 h, at night"}
   }
  },
  "following": {
   "vehicle": {"m_per_min": 214.57920000000001, "source": "planning value, editable"},
   "wagon": {"m_per_min": 107.28960000000001, "source": "planning value, editable"},
   "foot": {"m_per_min": 67.05600000000001, "source": "planning value, editable"}
  },
  "ground": {
   "open": {"times": 1.2, "source": "planning value, editable"},
   "wooded": {"times": 2, "source": "planning value, editable"},
   "broken": {"times": 1.5, "source": "planning value, editable"},
   "wet": {"times": 2.5, "source": "planning value, editable"}
  },
  "constructions": {
   "through_culvert": {
    "lead": {"min": 5, "source": "planning value, editable"},
    "follow_up": {"min": 10, "source": "planning value, editable"}
   },
   "under_bridge": {
    "lead": {"min": 8, "source": "planning value, editable"},
    "follow_up": {"min": 15, "source": "planning value, editable"}
   },
   "under_rails": {
    "lead": {"min": 10, "source": "planning value, editable"},
    "follow_up": {"min": 20, "source": "planning value, editable"}
   },
   "overhead_trees": {
    "lead": {"min": 8, "source": "planning value, editable"},
    "follow_up": {"min": 20, "source": "planning value, editable"}
   },
   "overhead_poles": {
    "lead": {"min": 8, "source": "planning value, editable"},
    "follow_up": {"min": 20, "source": "planning value, editable"}
   },
   "overhead_lance_poles": {
    "lead": {"min": 5.5, "source": "Corcoran 1917: a crossing on two poles, at least 5 to 6 min by four men"},
    "follow_up": {"min": 30, "source": "planning value, editable"}
   },
   "buried": {
    "lead": {"min": 3.5, "source": "Corcoran 1917: a buried crossing, 3 to 4 min by two men"},
    "follow_up": {"min": 15, "source": "planning value, editable"}
   },
   "ladder": {
    "lead": {"min": 12, "source": "planning value, editable"},
    "follow_up": {"min": 40, "source": "planning value, editable: it is replaced by an overhead crossing (SS0440 p. 33)"}
   }
  }
 },
 "warnings": [
  {
   "figure": "heights.road.public",
   "value": {
    "yes": false
   },
   "built_in": {
    "yes": true
   },
   "text": "heights.road.public is no (this operation was opened before civil heights were told apart: the field rule alone holds): the field rule governs there, 4.27 m (14.0 ft) (SS0440 pp. 29, 31: at least 14 ft over a secondary road), and not the civil one, 4.72 m (15.5 ft) (NESC rule 232: 15.5 ft over a road, street or land open to trucks, at the greatest sag)"
  },
  {
   "figure": "heights.dirt_road.public",
   "value": {
    "yes": false
   },
   "built_in": {
    "yes": true
   },
   "text": "heights.dirt_road.public is no (this operation was opened before civil heights were told apart: the field rule alone holds): the field rule governs there, 4.27 m (14.0 ft) (SS0440 pp. 29, 31: at least 14 ft over a secondary road), and not the civil one, 4.72 m (15.5 ft) (NESC rule 232: 15.5 ft over a road, street or land open to trucks, at the greatest sag)"
  },
  {
   "figure": "heights.path.public",
   "value": {
    "yes": false
   },
   "built_in": {
    "yes": true
   },
   "text": "heights.path.public is no (this operation was opened before civil heights were told apart: the field rule alone holds): the field rule governs there, 2.44 m (8.0 ft) (GO 64-A rule 84.4: 8 ft where there are only pedestrians), and not the civil one, 2.90 m (9.5 ft) (NESC rule 232, as quoted by engineerfix.com: 9.5 to 10 ft where there are only pedestrians)"
  }
 ]
}$profile$;

alter table operation alter column profile set not null;

-- The row is written anew with every entry of the log, and the profile never changes: kept aside, it is not copied along.
alter table operation alter column profile set storage external;
