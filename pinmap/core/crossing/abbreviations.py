"""Words and abbreviations of the trade, and what each is read as. SAE J1930 and ISO 15031-2 abbreviations where they
have one, common practice else."""

from __future__ import annotations

_READ_AS = """
+: plus positive
-: minus negative neg
ac: aircon
accelerator: accel
accessory: acc
alternator: alt generator
ambient: amb
atmospheric: atm
auxiliary: aux
battery: batt bat bty
bus: datalink data network
camshaft: cam
can: j2284
ckp: kurbelwellensensor kurbelwellengeber
clearance: clr
cmp: nockenwellensensor nockenwellengeber
control: ctrl cntrl controlled
coolant: clnt cool
crankshaft: crank
cylinder: cyl
diagnostic: diag diagnosis diagnostics
engine: eng
evap: evaporative
exhaust: exh
forward: fwd
ground: gnd grnd grd earth masse
heater: htr heating heated
high: hi
ignition: ign zundung
injector: inj injection
intake: inlet
lamp: light lighting lite bulb
left: links lhs lh
low: lo
motor: mtr
permanent: perm permanently constant
plate: license licence registration
position: pos posn
pressure: press pres
pump: pmp
reference: ref
relay: rly
return: rtn ret
reverse: rev reversing backup
right: rechts rhs rh
sensor: sens snsr sen sender transmitter
shield: shld shielding screen screened drain
signal: sig sgnl
speed: spd
stop: brake braking
supply: sply feed power pwr
switch: sw
tachometer: tach tacho
temperature: temp
throttle: thr
tire: tyre
trailer: trlr
transmission: gearbox trans
turn: indicator blinker winker flasher direction directional turning
valve: solenoid sol
vehicle: veh
warning: warn
water: wtr
"""

# Words that name no function; they are left out.
_EMPTY = """
number the line wire circuit input output in out and of to from for with or terminal term klemme kl din iso sae pin
contact cavity nos by
"""

READ_AS: dict[str, str] = {
    word: line.partition(": ")[0] for line in _READ_AS.strip().splitlines() for word in line.partition(": ")[2].split()
} | dict.fromkeys(_EMPTY.split(), "")
