"""Physical constants and figures of practice, each with its source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Constant:
    """A number with its unit and where it comes from."""

    value: float
    unit: str
    source: str


COPPER_OHM_MM2_PER_M: Final = Constant(1 / 58, "ohm·mm²/m at 20 °C", "IEC 60028, annealed copper (100 % IACS)")
COPPER_ALPHA_PER_K: Final = Constant(0.00393, "1/K at 20 °C", "IEC 60028, annealed copper")
STRANDING_FACTOR: Final = Constant(1.02, "1", "lay factor of stranded copper in NEC chapter 9 table 8")
STRAND_FILL: Final = Constant(0.75, "1", "common practice: copper share of a stranded conductor's circle")
STEFAN_BOLTZMANN: Final = Constant(5.670374419e-8, "W/(m²·K⁴)", "CODATA 2018")
ZERO_C_K: Final = Constant(273.15, "K", "SI")
GRAVITY_M_PER_S2: Final = Constant(9.80665, "m/s²", "ISO 80000-3, standard acceleration of free fall")
AIR_GAS_J_PER_KG_K: Final = Constant(287.05, "J/(kg·K)", "US Standard Atmosphere 1976, dry air")
AIR_PRESSURE_PA: Final = Constant(101325.0, "Pa", "US Standard Atmosphere 1976, sea level")
EMISSIVITY: Final = Constant(0.9, "1", "common practice: matt plastic")
COPPER_G_PER_CM3: Final = Constant(8.89, "g/cm³ at 20 °C", "IEC 60028, annealed copper; 1 mm² · 1 m has this mass in g")
COPPER_MELTS_C: Final = Constant(1084.6, "°C", "ITS-90, freezing point of copper")

CONTACT_OHM: Final = Constant(0.005, "ohm", "resistance budget of a control-unit installation, a mated contact")
STUD_OHM: Final = Constant(0.0005, "ohm", "common practice: one clean ring on a bolt")
SPLICE_OHM: Final = Constant(0.0003, "ohm", "from memory: one wire's crimp in a sound splice")
RELAY_CONTACT_OHM: Final = Constant(0.005, "ohm", "common practice: closed relay contact under load")
SWITCH_CONTACT_OHM: Final = Constant(0.01, "ohm", "common practice: closed switch contact")
RELAY_COIL_OHM: Final = Constant(85.0, "ohm", "common practice: coil of a 12 V ISO 7588 relay")
RELAY_PULL_IN_SHARE: Final = Constant(0.65, "1", "common practice: pull-in voltage by nominal voltage at 20 °C")
FUSE_DROP_V: Final = Constant(0.1, "V", "common practice: voltage drop of a blade fuse at rated current")
JOINT_DROP_V: Final = Constant(0.1, "V", "connection that carries much current, SAE as quoted in a workshop manual")
SMALL_JOINT_DROP_V: Final = Constant(
    0.05,
    "V",
    "SAE as quoted in a workshop manual asks for 0 V at a small wire's connection; what a meter may still show",
)
SWITCH_DROP_V: Final = Constant(0.3, "V", "switch or relay contact, SAE as quoted in a workshop manual")
CRANK_JOINT_DROP_V: Final = Constant(0.5, "V", "common practice: over one joint while cranking, workshop manuals")
SMALL_WIRE_MM2: Final = Constant(1.0, "mm²", "common practice: up to here a connection counts as a small wire's")
DIODE_DROP_V: Final = Constant(0.8, "V", "common practice: silicon diode under load")
HEAT_MARGIN_K: Final = Constant(10.0, "K", "common practice: distance kept from the insulation's class")
LOADED_SHARE: Final = Constant(
    0.2, "1", "common practice: below this share of its free-air rating a wire counts as idle"
)
AMBIENT_C: Final = Constant(85.0, "°C", "common practice: engine bay away from the exhaust, where no zone is given")

FOOT_M: Final = Constant(0.3048, "m", "international foot, 1959")
CMIL_MM2: Final = Constant(0.0005067074790974977, "mm²", "π/4 · (0.001 in)²")
E11_K: Final = Constant(10.75, "ohm·cmil/ft", "ABYC E-11, voltage drop formula")
WALL_HEAT_J_PER_K_MM3: Final = Constant(
    0.002, "J/(K·mm³)", "IEC 60853-2 gives 1.7e-3 for PVC and 2.4e-3 for cross-linked polyethylene; between them"
)
WALL_CONTACT: Final = Constant(0.7, "1", "IEC 60949, thermal contact between conductor and insulation")
ISO10133_OHM_MM2_PER_M: Final = Constant(0.0164, "ohm·mm²/m", "ISO 10133 annex C, printed value (below IACS by 4.9 %)")
