"""The text of a machine file in which every table stands, for tests to spoil."""

MACHINE = """\
site = "home"

[tank.reef]
name = "The reef"
net_volume = "300 L"
zone = "Europe/Berlin"
targets = { alkalinity = "8.2 dKH", calcium = "420 mg/L" }
return_flow = "1800 L/h"

[tank.reef.caps]
alkalinity = { gross = "2.0 dKH/day", net_rise = "0.5 dKH/day" }
calcium = { gross = "20 mg/L/day" }

[tank.reef.uptake]
alkalinity = { estimate = "1.4 dKH/day", low = "1.1 dKH/day" }

[tank.reef.bands]
copper = { watch = "1 ug/L", act = "3 ug/L" }

[solution.carbonate]
name = "Soda"
formula = "Na2CO3"
hydrate = "anhydrous"
strength = "100 g/L"
purity = "99.5 %"
cautions = ["wear goggles"]

[solution.calcium]
per_ml = { calcium = "0.37 mg/L per mL in 100 L" }
fully_declared = true
keep_apart_from = ["trace"]

[solution.trace]
no_effects = true

[reservoir.carbonate]
content = "5 L"

[reservoir.calcium]
content = "5 L"

[node.shelf]
day_limit = "250 mL"
longest_run = "60 s"
hardware_id = "7c2f90b1"
config_id = "0f3a77c2"

[pump.carbonate]
tank = "reef"
node = "shelf"
channel = "a"
solution = "carbonate"
reservoir = "carbonate"
rate = "80 mL/min"
smallest_dose = "0.3 mL"
most_per_dose = "5 mL"
most_per_day = "80 mL"
most_per_hour = "10 mL"
most_per_calibration = "60 mL"

[pump.calcium]
tank = "reef"
node = "shelf"
channel = "b"
solution = "calcium"
reservoir = "calcium"
rate = "80 mL/min"
smallest_dose = "0.3 mL"

[probe.kh]
tank = "reef"
parameter = "alkalinity"
unit = "dKH"
period = "15 min"
resolution = "0.01 dKH"

[interlock.reef]
alkalinity_ceiling = "9.7 dKH"

[outside.lime]
tank = "reef"
parameter = "alkalinity"
per_day = "0.4 dKH/day"

[broker]
host = "localhost"

[timing]
apart_gap = "15 min"
"""
