"""Jobs into visits: the best set for the money, hours, people and bays there are, with proof of how close to the best.

`planning.plan_visits` finds it, `planning.plan_at_once` answers in milliseconds, `audit` counts every plan again in
integers, `loosening` says what stands in the way, `frontier` what more money or hours would buy.
"""
