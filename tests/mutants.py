"""Small deliberate errors in the physics, one entry each: a sign, a lever arm, a missing term.

``old`` stands once in its file (of the folder ``sim``); ``new`` takes its place (tests/mutation_trials.py).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Mutant:
    name: str
    file: str
    old: str
    new: str
    what: str


MECHANISM, GENERATE, STEP, SHANK, RUN, FINGER = (
    f"physics/{name}.py" for name in ("mechanism", "generate", "generate_step", "shank", "run", "finger")
)
CONTACTS = "unit/contacts.py"

MUTANTS = (
    Mutant("jack-weight", GENERATE, '"Q_j = -g * jmx_ + t_j', '"Q_j = g * jmx_ + t_j', "the jack's weight upward"),
    Mutant("jack-swing", GENERATE, " - D1 * u_j * u_j", "", "no centripetal force of the jack on the wippen"),
    Mutant(
        "lever-swing", GENERATE, "t_l + E1 * u_w * u_w", "t_l - E1 * u_w * u_w", "the wippen's turn throws the lever in"
    ),
    Mutant(
        "key-lead",
        GENERATE,
        '"Q_kf = key_front_moment * g',
        '"Q_kf = -key_front_moment * g',
        "the key's front weight upward",
    ),
    Mutant(
        "jack-spring", GENERATE, " - t_j - t_l - D1", " - t_l - D1", "the jack's spring does not bear on the wippen"
    ),
    Mutant(
        "jack-arm",
        GENERATE,
        "arm_jy * jmx_ - arm_jx * jmy_",
        "arm_jy * jmx_ + arm_jx * jmy_",
        "arm of the jack's swing",
    ),
    Mutant("chain", GENERATE, '- gl * {out}_w")', '+ gl * {out}_w")', "the wippen drags the lever the wrong way"),
    Mutant("key-joint", GENERATE, '"Q_kr = -m_")', '"Q_kr = m_")', "both halves of the key bent the same way"),
    Mutant(
        "bent-weight",
        GENERATE,
        "- s_h * bend_x_ - c_h * bend_y_",
        "- s_h * bend_x_ + c_h * bend_y_",
        "weight of the bent shank",
    ),
    Mutant(
        "hammer-coupling",
        GENERATE,
        'inv_{name_pair(x, y)}") for y',
        'inv_{name_pair(x, x)}") for y',
        "the hammer's mass uncoupled",
    ),
    Mutant(
        "section-turn",
        GENERATE,
        "+ {turned} * ({at}_x",
        "- {turned} * ({at}_x",
        "turn of the shank's section at a contact",
    ),
    Mutant(
        "contact-point",
        GENERATE,
        "C_{n}_x = P_{n}_x - {s.radius} * n_{n}_x",
        "C_{n}_x = P_{n}_x + {s.radius} * n_{n}_x",
        "a circle touches on its far side",
    ),
    Mutant(
        "string-rises",
        GENERATE,
        "= string_y + ys - P_{n}_y",
        "= string_y - ys - P_{n}_y",
        "the string comes toward the hammer",
    ),
    Mutant(
        "finger-arm",
        GENERATE,
        'return {"f": "1.0", "kf": f"-P_{n}_x"}',
        'return {"f": "1.0", "kf": f"-0.9 * P_{n}_x"}',
        "the finger's arm on the key",
    ),
    Mutant(
        "damper-arm",
        GENERATE,
        'return {"d": "1.0", "kr": f"-P_{n}_x"}',
        'return {"d": "1.0", "kr": f"P_{n}_x"}',
        "the damper pulls the key's end up",
    ),
    Mutant("felt-power", GENERATE, 'return f"d_ * d_ if', 'return f"d_ if', "felts of exponent 2 are linear"),
    Mutant(
        "turn-stop",
        GENERATE,
        "f\"{'-' if s.sense > 0 else ''}{s.arm}\"}, {}",
        '"0.0"}, {}',
        "a stop that bears on one body only",
    ),
    Mutant(
        "loss-sign",
        STEP,
        'code(f"rate_ = -({join_terms(',
        'code(f"rate_ = ({join_terms(',
        "felts drive instead of losing",
    ),
    Mutant("felt-pulls", STEP, "N_{n} = max(0.0, (f0_{n}", "N_{n} = max(-1.0, (f0_{n}", "felts may pull"),
    Mutant(
        "felt-lag", STEP, "+ calm_ * last_) / (1.0 + calm_)", "+ calm_ * last_)", "the loss's last force not weighed"
    ),
    Mutant(
        "felt-looseness",
        STEP,
        "{'' if x == y else '2.0 * '}a_{n}",
        "{'' if x == y else ''}a_{n}",
        "looseness of the hammer",
    ),
    Mutant(
        "rubbing-bound",
        STEP,
        "bound_{n} = mu_{n} * N_{n} * rub_dt",
        "bound_{n} = 0.8 * mu_{n} * N_{n} * rub_dt",
        "a fifth of the rubbing lost",
    ),
    Mutant(
        "pin-bound",
        STEP,
        "bound_{name} = friction_{name} * rub_dt",
        "bound_{name} = 0.8 * friction_{name} * rub_dt",
        "a fifth of the pins' friction lost",
    ),
    Mutant(
        "stuck-rows",
        STEP,
        "new_ = L_{name} - sum_ * iW_{name}",
        "new_ = L_{name} - 0.5 * sum_ * iW_{name}",
        "friction gives way too slowly",
    ),
    Mutant(
        "near-wave",
        STEP,
        'code(f"from_near = -({sent})"',
        'code(f"from_near = ({sent})"',
        "the string's near end not turned over",
    ),
    Mutant(
        "far-wave",
        STEP,
        "from_far = -far_reflection",
        "from_far = far_reflection",
        "the string's far end not turned over",
    ),
    Mutant(
        "wave-delay",
        STEP,
        "near_part = near_delay / dt - near_whole",
        "near_part = 0.0 * near_delay",
        "delays cut to whole steps",
    ),
    Mutant(
        "wave-mix",
        STEP,
        'half_admittance * N_{n} + from_near"',
        'half_admittance * N_{n} + from_far"',
        "waves sent back where they came from",
    ),
    Mutant(
        "string-work", STEP, 'code(f"string_work += dt', 'code(f"string_work -= dt', "the string's work counted as gain"
    ),
    Mutant(
        "pin-ledger",
        STEP,
        'code(f"rub_{name} -= L_{name} * (m_',
        'code(f"rub_{name} += L_{name} * (m_',
        "pin friction counted as gain",
    ),
    Mutant(
        "felt-ledger", STEP, "(N_{n} - f0_{n}) * ({rate})", "N_{n} * ({rate})", "what a felt stores counted as lost"
    ),
    Mutant(
        "shank-ledger",
        STEP,
        "loss_shank_bending += dt * ({drag})",
        "loss_shank_bending += 0.5 * dt * ({drag})",
        "half of the shank's loss",
    ),
    Mutant(
        "energy-coupling",
        STEP,
        "+ D * v_w * v_j + E",
        "+ 0.5 * D * v_w * v_j + E",
        "energy of the jack riding on the wippen",
    ),
    Mutant(
        "energy-felt", STEP, "** (p_{n} + 1.0) / (p_{n} + 1.0)", "** (p_{n} + 1.0) / p_{n}", "energy stored in felts"
    ),
    Mutant("mid-step", STEP, "u_{x} = 1.5 * v_{x} - 0.5 * o_{x}", "u_{x} = v_{x}", "speeds not taken to the mid-step"),
    Mutant(
        "half-step",
        STEP,
        'code(*(f"{x} += 0.5 * dt * v_{x}" for x in DOFS))',
        'code(*(f"{x} += 0.0 * dt * v_{x}" for x in DOFS))',
        "positions not moved to the mid-step",
    ),
    Mutant("event-time", STEP, "back = dt * gap / (gap - was)", "back = 0.0 * gap", "events placed at whole steps"),
    Mutant(
        "capstan-radius",
        MECHANISM,
        '"capstan_r": k.capstan_radius',
        '"capstan_r": 0.9 * k.capstan_radius',
        "a thinner capstan",
    ),
    Mutant(
        "knuckle-edge",
        MECHANISM,
        "hm.knuckle_radius + j.top_edge_radius",
        "hm.knuckle_radius",
        "the jack's edge not rounded",
    ),
    Mutant("heel-slope", MECHANISM, '"heel_ty": -math.sin', '"heel_ty": math.sin', "the heel slopes the other way"),
    Mutant(
        "check-slope", MECHANISM, '"check_ty": math.sin', '"check_ty": 0.9 * math.sin', "the check's face foreshortened"
    ),
    Mutant("wippen-load", MECHANISM, " + lv.mass * w.lever_centre[0],", ",", "the lever does not weigh on the wippen"),
    Mutant(
        "wippen-inertia",
        MECHANISM,
        "+ lv.mass * (w.lever_centre[0] ** 2",
        "- lv.mass * (w.lever_centre[0] ** 2",
        "the lever lightens the wippen",
    ),
    Mutant(
        "admittance",
        MECHANISM,
        "1 / (2 * u.string.impedance)",
        "1 / u.string.impedance",
        "the string twice as yielding",
    ),
    Mutant("jack-joint", MECHANISM, '("jack", "j", "w")', '("jack", "j", "")', "the jack's pin rubs against the frame"),
    Mutant(
        "window-sense",
        CONTACTS,
        '"jack_window_turn", -1',
        '"jack_window_turn", +1',
        "the lever's window on the wrong side",
    ),
    Mutant("shank-stiffness", SHANK, "[[4.0, -2 * length]", "[[3.5, -2 * length]", "the shank's stiffness"),
    Mutant(
        "shank-mass", SHANK, "[7 / 20, 13 / 35, -11 / 210]", "[7 / 20, 12 / 35, -11 / 210]", "the shank's moving mass"
    ),
    Mutant(
        "shank-weight", SHANK, "- rod * length / 12", "+ rod * length / 12", "weight of the shank on its tip's turn"
    ),
    Mutant(
        "shank-damping",
        SHANK,
        "np.diag(2 * hm.shank_damping_ratio",
        "np.diag(1 * hm.shank_damping_ratio",
        "half of the shank's damping",
    ),
    Mutant("head-inertia", SHANK, "m * hm.head_gyration**2", "0 * hm.head_gyration**2", "the head a point"),
    Mutant(
        "head-arm",
        SHANK,
        "return (1.0, 0.0), (x - length, 1.0)\n\n\ndef compute_mass_matrix",
        "return (1.0, 0.0), (length - x, 1.0)\n\n\ndef compute_mass_matrix",
        "turn of the head lifts its points the wrong way",
    ),
    Mutant(
        "crown-bend",
        RUN,
        'bend = c * self._strike("lift", "v_") - s',
        'bend = c * self._strike("lift", "v_") + s',
        "crown speed of the bent shank",
    ),
    Mutant(
        "step-change",
        RUN,
        '(x[f"v_{name}"] - x[f"o_{name}"]) * new / old',
        '(x[f"v_{name}"] - x[f"o_{name}"]) * old / new',
        "going on with another step",
    ),
    Mutant(
        "wave-ages",
        RUN,
        "0.5 * (step - previous.step)",
        "0.5 * (previous.step - step)",
        "the string's waves at another step",
    ),
    Mutant(
        "key-led",
        FINGER,
        "table[:, 1] = rest_angle + path[:, 1] / arm",
        "table[:, 1] = rest_angle + 1.05 * path[:, 1] / arm",
        "a led key goes too far",
    ),
    Mutant(
        "muscle-rise",
        FINGER,
        "strength * x / rise * np.exp(-x)",
        "strength / rise * np.exp(-x)",
        "slope of the muscle's rise",
    ),
)
"""By name, in the order of the files."""
