"""Compiled stepper, energies and gaps of the action unit.

Written by `sim/physics/generate_step.py` from the entries of `mechanism.py`: do
not edit; run ``python -m sim.physics.generate_step``.

Symbols: q of each coordinate by its short name (kf, kr key halves; w wippen; j
jack; l lever; h hammer; e, r deflection and turn of the shank's tip; d damper; f finger); v_ new speed, o_
speed before the step, u_ speed extrapolated to the mid-step; g_ gap, N_ normal
force, a_ gradient of the gap, b_ gradient of the sliding, B_ its mass-weighted
twin, L_ friction impulse; s_, c_ sine and cosine of a coordinate; K_, p_, c_, limit_, mu_ stiffness, exponent, loss,
thickness and friction of a contact.  Other names are parameters of `mechanism.py`.
"""

# ruff: noqa
# fmt: off
import math

import numba

FAST = {"contract", "arcp", "nsz", "reassoc"}


@numba.njit(error_model="numpy", fastmath=FAST)
def sine_cosine(x):
    """Sine and cosine by series to x**11 and x**12: error below 1e-13 at 0.5 rad, 2e-10 at 1 rad."""
    z = x * x
    s = x * (1.0 + z * (-1/6 + z * (1/120 + z * (-1/5040 + z * (1/362880 - z / 39916800)))))
    c = 1.0 + z * (-1/2 + z * (1/24 + z * (-1/720 + z * (1/40320 + z * (-1/3628800 + z / 479001600)))))
    return s, c


@numba.njit(error_model="numpy", fastmath=FAST)
def look_up(table, t, k):
    """Value and index of the piecewise cubic (columns: time, value, slope) at t; flat beyond its ends."""
    n = table.shape[0]
    while k + 2 < n and table[k + 1, 0] <= t:
        k += 1
    if t <= table[0, 0]:
        return table[0, 1], k
    if t >= table[n - 1, 0]:
        return table[n - 1, 1], k
    w = table[k + 1, 0] - table[k, 0]
    x = (t - table[k, 0]) / w
    y = 1.0 - x
    return (y * y * (1.0 + 2.0 * x) * table[k, 1] + x * x * (3.0 - 2.0 * x) * table[k + 1, 1]
            + w * x * y * (y * table[k, 2] - x * table[k + 1, 2])), k


@numba.njit(error_model="numpy", fastmath=FAST)
def note(log, row, t, dt, contact, gap, was, crown_y, crown_v, crown_a, travel, travel_v):
    """Write one making or breaking of a contact, placed within the step where its gap goes through zero."""
    if row < log.shape[0]:
        back = dt * gap / (gap - was)
        log[row, 0] = t - back
        log[row, 1] = contact
        log[row, 2] = 1.0 if gap < 0.0 else 0.0
        log[row, 3] = crown_y - back * crown_v
        log[row, 4] = crown_v - back * crown_a
        log[row, 5] = travel - back * travel_v
        log[row, 6] = (gap - was) / dt
    return row + 1


PARAMETERS = (
    'zero',
    'g',
    'cloth_x',
    'cloth_y',
    'cloth_plane',
    'punching_x',
    'punching_plane',
    'capstan_r',
    'check_tx',
    'check_ty',
    'check_length',
    'key_front_moment',
    'key_bending_stiffness',
    'key_bending_damping',
    'inv_front',
    'inv_rear',
    'heel_tx',
    'heel_ty',
    'wippen_mx',
    'wippen_my',
    'inertia_w',
    'jack_mx',
    'jack_my',
    'inv_j',
    'toe_r',
    'jack_stop_turn',
    'jack_window_turn',
    'lever_mx',
    'lever_my',
    'inv_l',
    'surface_tx',
    'surface_ty',
    'surface_length',
    'lever_stop_turn',
    'stop_arm',
    'knuckle_r',
    'knuckle_on_jack_r',
    'tail_r',
    'screw_r',
    'button_plane',
    'cushion_plane',
    'string_y',
    'springs_repetition',
    'springs_repetition_rate',
    'springs_jack',
    'springs_jack_rate',
    'half_admittance',
    'near_delay',
    'far_delay',
    'far_reflection',
    'damper_gap',
    'damper_weight',
    'inv_d',
    'friction_damper',
    'touch_x',
    'touch_y',
    'capstan_x',
    'capstan_y',
    'check_x',
    'check_y',
    'wx',
    'wy',
    'heel_x',
    'heel_y',
    'jx',
    'jy',
    'lx',
    'ly',
    'top_ax',
    'top_ay',
    'top_bx',
    'top_by',
    'top_cx',
    'top_cy',
    'toe_x',
    'toe_y',
    'surface_x',
    'surface_y',
    'hx',
    'hy',
    'knuckle_x',
    'knuckle_y',
    'cushion_x',
    'cushion_y',
    'tail_x',
    'tail_y',
    'strike_x',
    'strike_y',
    'screw_x',
    'screw_y',
    'damper_x',
    'damper_y',
    'lift_e_knuckle',
    'turn_e_knuckle',
    'lift_r_knuckle',
    'turn_r_knuckle',
    'lift_e_cushion',
    'turn_e_cushion',
    'lift_r_cushion',
    'turn_r_cushion',
    'lift_e_tail',
    'turn_e_tail',
    'lift_r_tail',
    'turn_r_tail',
    'lift_e_strike',
    'turn_e_strike',
    'lift_r_strike',
    'turn_r_strike',
    'hammer_mx',
    'hammer_my',
    'shank_period',
    'mass_hh',
    'inv_hh',
    'mass_he',
    'inv_he',
    'mass_hr',
    'inv_hr',
    'mass_ee',
    'inv_ee',
    'mass_er',
    'inv_er',
    'mass_rr',
    'inv_rr',
    'bend_e_x',
    'bend_e_y',
    'spring_ee',
    'damping_ee',
    'spring_er',
    'damping_er',
    'bend_r_x',
    'bend_r_y',
    'spring_rr',
    'damping_rr',
    'friction_key',
    'friction_wippen',
    'friction_jack',
    'friction_lever',
    'friction_hammer',
    'K_finger',
    'p_finger',
    'c_finger',
    'limit_finger',
    'K_back_cloth',
    'p_back_cloth',
    'c_back_cloth',
    'limit_back_cloth',
    'K_punching',
    'p_punching',
    'c_punching',
    'limit_punching',
    'K_capstan',
    'p_capstan',
    'c_capstan',
    'limit_capstan',
    'mu_capstan',
    'K_jack_knuckle',
    'p_jack_knuckle',
    'c_jack_knuckle',
    'limit_jack_knuckle',
    'mu_jack_knuckle',
    'K_lever_knuckle',
    'p_lever_knuckle',
    'c_lever_knuckle',
    'limit_lever_knuckle',
    'mu_lever_knuckle',
    'K_toe_button',
    'p_toe_button',
    'c_toe_button',
    'limit_toe_button',
    'mu_toe_button',
    'K_drop_screw',
    'p_drop_screw',
    'c_drop_screw',
    'limit_drop_screw',
    'mu_drop_screw',
    'K_jack_stop',
    'p_jack_stop',
    'c_jack_stop',
    'limit_jack_stop',
    'K_jack_window',
    'p_jack_window',
    'c_jack_window',
    'limit_jack_window',
    'K_lever_stop',
    'p_lever_stop',
    'c_lever_stop',
    'limit_lever_stop',
    'K_rest_cushion',
    'p_rest_cushion',
    'c_rest_cushion',
    'limit_rest_cushion',
    'K_backcheck',
    'p_backcheck',
    'c_backcheck',
    'limit_backcheck',
    'mu_backcheck',
    'K_string',
    'p_string',
    'c_string',
    'limit_string',
    'K_key_damper',
    'p_key_damper',
    'c_key_damper',
    'limit_key_damper',
    'K_damper_seat',
    'p_damper_seat',
    'c_damper_seat',
    'limit_damper_seat',
)
RUN = (
    'dt',
    'steps',
    'every',
    'mode',
    'inv_f',
    'muscle_damping',
    'viscous',
    'rub',
    'sweeps',
    'stop',
    't0',
    'begun',
)
STATE = (
    'kf',
    'kr',
    'w',
    'j',
    'l',
    'h',
    'e',
    'r',
    'd',
    'f',
    'v_kf',
    'v_kr',
    'v_w',
    'v_j',
    'v_l',
    'v_h',
    'v_e',
    'v_r',
    'v_d',
    'v_f',
    'o_kf',
    'o_kr',
    'o_w',
    'o_j',
    'o_l',
    'o_h',
    'o_e',
    'o_r',
    'o_d',
    'o_f',
    'ys',
    'vs',
    'L_key',
    'L_wippen',
    'L_jack',
    'L_lever',
    'L_hammer',
    'L_damper',
    'L_capstan',
    'L_jack_knuckle',
    'L_lever_knuckle',
    'L_toe_button',
    'L_drop_screw',
    'L_backcheck',
    'was_finger',
    'was_back_cloth',
    'was_punching',
    'was_capstan',
    'was_jack_knuckle',
    'was_lever_knuckle',
    'was_toe_button',
    'was_drop_screw',
    'was_jack_stop',
    'was_jack_window',
    'was_lever_stop',
    'was_rest_cushion',
    'was_backcheck',
    'was_string',
    'was_key_damper',
    'was_damper_seat',
    'N_finger',
    'N_back_cloth',
    'N_punching',
    'N_capstan',
    'N_jack_knuckle',
    'N_lever_knuckle',
    'N_toe_button',
    'N_drop_screw',
    'N_jack_stop',
    'N_jack_window',
    'N_lever_stop',
    'N_rest_cushion',
    'N_backcheck',
    'N_string',
    'N_key_damper',
    'N_damper_seat',
)
RESULTS = (
    'status',
    'where',
    'time',
    'logged',
    'traced',
    'finger_work',
    'string_work',
    'head',
    'loss_finger',
    'loss_back_cloth',
    'loss_punching',
    'loss_capstan',
    'loss_jack_knuckle',
    'loss_lever_knuckle',
    'loss_toe_button',
    'loss_drop_screw',
    'loss_jack_stop',
    'loss_jack_window',
    'loss_lever_stop',
    'loss_rest_cushion',
    'loss_backcheck',
    'loss_string',
    'loss_key_damper',
    'loss_damper_seat',
    'rub_key',
    'rub_wippen',
    'rub_jack',
    'rub_lever',
    'rub_hammer',
    'rub_damper',
    'rub_capstan',
    'rub_jack_knuckle',
    'rub_lever_knuckle',
    'rub_toe_button',
    'rub_drop_screw',
    'rub_backcheck',
    'loss_key_bending',
    'loss_shank_bending',
)
TRACE = (
    't',
    'kf',
    'kr',
    'w',
    'j',
    'l',
    'h',
    'e',
    'r',
    'd',
    'f',
    'v_kf',
    'v_kr',
    'v_w',
    'v_j',
    'v_l',
    'v_h',
    'v_e',
    'v_r',
    'v_d',
    'v_f',
    'string',
    'finger_force',
    'N_finger',
    'N_back_cloth',
    'N_punching',
    'N_capstan',
    'N_jack_knuckle',
    'N_lever_knuckle',
    'N_toe_button',
    'N_drop_screw',
    'N_jack_stop',
    'N_jack_window',
    'N_lever_stop',
    'N_rest_cushion',
    'N_backcheck',
    'N_string',
    'N_key_damper',
    'N_damper_seat',
    'T_key',
    'T_wippen',
    'T_jack',
    'T_lever',
    'T_hammer',
    'T_damper',
    'T_capstan',
    'T_jack_knuckle',
    'T_lever_knuckle',
    'T_toe_button',
    'T_drop_screw',
    'T_backcheck',
)
LOG = (
    't',
    'contact',
    'make',
    'crown_height',
    'crown_speed',
    'key_travel',
    'gap_rate',
)


@numba.njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def stroke(p, run, finger, state, waves, trace, log, out):
    """Advance ``state`` in place by ``run.steps`` steps; fill trace, log and out (see physics/run.py)."""
    K_back_cloth = p.K_back_cloth
    K_backcheck = p.K_backcheck
    K_capstan = p.K_capstan
    K_damper_seat = p.K_damper_seat
    K_drop_screw = p.K_drop_screw
    K_finger = p.K_finger
    K_jack_knuckle = p.K_jack_knuckle
    K_jack_stop = p.K_jack_stop
    K_jack_window = p.K_jack_window
    K_key_damper = p.K_key_damper
    K_lever_knuckle = p.K_lever_knuckle
    K_lever_stop = p.K_lever_stop
    K_punching = p.K_punching
    K_rest_cushion = p.K_rest_cushion
    K_string = p.K_string
    K_toe_button = p.K_toe_button
    bend_e_x = p.bend_e_x
    bend_e_y = p.bend_e_y
    bend_r_x = p.bend_r_x
    bend_r_y = p.bend_r_y
    button_plane = p.button_plane
    c_back_cloth = p.c_back_cloth
    c_backcheck = p.c_backcheck
    c_capstan = p.c_capstan
    c_damper_seat = p.c_damper_seat
    c_drop_screw = p.c_drop_screw
    c_finger = p.c_finger
    c_jack_knuckle = p.c_jack_knuckle
    c_jack_stop = p.c_jack_stop
    c_jack_window = p.c_jack_window
    c_key_damper = p.c_key_damper
    c_lever_knuckle = p.c_lever_knuckle
    c_lever_stop = p.c_lever_stop
    c_punching = p.c_punching
    c_rest_cushion = p.c_rest_cushion
    c_string = p.c_string
    c_toe_button = p.c_toe_button
    capstan_r = p.capstan_r
    capstan_x = p.capstan_x
    capstan_y = p.capstan_y
    check_length = p.check_length
    check_tx = p.check_tx
    check_ty = p.check_ty
    check_x = p.check_x
    check_y = p.check_y
    cloth_plane = p.cloth_plane
    cloth_x = p.cloth_x
    cloth_y = p.cloth_y
    cushion_plane = p.cushion_plane
    cushion_x = p.cushion_x
    cushion_y = p.cushion_y
    damper_gap = p.damper_gap
    damper_weight = p.damper_weight
    damper_x = p.damper_x
    damper_y = p.damper_y
    damping_ee = p.damping_ee
    damping_er = p.damping_er
    damping_rr = p.damping_rr
    far_delay = p.far_delay
    far_reflection = p.far_reflection
    friction_damper = p.friction_damper
    friction_hammer = p.friction_hammer
    friction_jack = p.friction_jack
    friction_key = p.friction_key
    friction_lever = p.friction_lever
    friction_wippen = p.friction_wippen
    g = p.g
    half_admittance = p.half_admittance
    hammer_mx = p.hammer_mx
    hammer_my = p.hammer_my
    heel_tx = p.heel_tx
    heel_ty = p.heel_ty
    heel_x = p.heel_x
    heel_y = p.heel_y
    hx = p.hx
    hy = p.hy
    inertia_w = p.inertia_w
    inv_d = p.inv_d
    inv_ee = p.inv_ee
    inv_er = p.inv_er
    inv_front = p.inv_front
    inv_he = p.inv_he
    inv_hh = p.inv_hh
    inv_hr = p.inv_hr
    inv_j = p.inv_j
    inv_l = p.inv_l
    inv_rear = p.inv_rear
    inv_rr = p.inv_rr
    jack_mx = p.jack_mx
    jack_my = p.jack_my
    jack_stop_turn = p.jack_stop_turn
    jack_window_turn = p.jack_window_turn
    jx = p.jx
    jy = p.jy
    key_bending_damping = p.key_bending_damping
    key_bending_stiffness = p.key_bending_stiffness
    key_front_moment = p.key_front_moment
    knuckle_on_jack_r = p.knuckle_on_jack_r
    knuckle_r = p.knuckle_r
    knuckle_x = p.knuckle_x
    knuckle_y = p.knuckle_y
    lever_mx = p.lever_mx
    lever_my = p.lever_my
    lever_stop_turn = p.lever_stop_turn
    lift_e_cushion = p.lift_e_cushion
    lift_e_knuckle = p.lift_e_knuckle
    lift_e_strike = p.lift_e_strike
    lift_e_tail = p.lift_e_tail
    lift_r_cushion = p.lift_r_cushion
    lift_r_knuckle = p.lift_r_knuckle
    lift_r_strike = p.lift_r_strike
    lift_r_tail = p.lift_r_tail
    limit_back_cloth = p.limit_back_cloth
    limit_backcheck = p.limit_backcheck
    limit_capstan = p.limit_capstan
    limit_damper_seat = p.limit_damper_seat
    limit_drop_screw = p.limit_drop_screw
    limit_finger = p.limit_finger
    limit_jack_knuckle = p.limit_jack_knuckle
    limit_jack_stop = p.limit_jack_stop
    limit_jack_window = p.limit_jack_window
    limit_key_damper = p.limit_key_damper
    limit_lever_knuckle = p.limit_lever_knuckle
    limit_lever_stop = p.limit_lever_stop
    limit_punching = p.limit_punching
    limit_rest_cushion = p.limit_rest_cushion
    limit_string = p.limit_string
    limit_toe_button = p.limit_toe_button
    lx = p.lx
    ly = p.ly
    mu_backcheck = p.mu_backcheck
    mu_capstan = p.mu_capstan
    mu_drop_screw = p.mu_drop_screw
    mu_jack_knuckle = p.mu_jack_knuckle
    mu_lever_knuckle = p.mu_lever_knuckle
    mu_toe_button = p.mu_toe_button
    near_delay = p.near_delay
    p_back_cloth = p.p_back_cloth
    p_backcheck = p.p_backcheck
    p_capstan = p.p_capstan
    p_damper_seat = p.p_damper_seat
    p_drop_screw = p.p_drop_screw
    p_finger = p.p_finger
    p_jack_knuckle = p.p_jack_knuckle
    p_jack_stop = p.p_jack_stop
    p_jack_window = p.p_jack_window
    p_key_damper = p.p_key_damper
    p_lever_knuckle = p.p_lever_knuckle
    p_lever_stop = p.p_lever_stop
    p_punching = p.p_punching
    p_rest_cushion = p.p_rest_cushion
    p_string = p.p_string
    p_toe_button = p.p_toe_button
    punching_plane = p.punching_plane
    punching_x = p.punching_x
    screw_r = p.screw_r
    screw_x = p.screw_x
    screw_y = p.screw_y
    spring_ee = p.spring_ee
    spring_er = p.spring_er
    spring_rr = p.spring_rr
    springs_jack = p.springs_jack
    springs_jack_rate = p.springs_jack_rate
    springs_repetition = p.springs_repetition
    springs_repetition_rate = p.springs_repetition_rate
    stop_arm = p.stop_arm
    strike_x = p.strike_x
    strike_y = p.strike_y
    string_y = p.string_y
    surface_length = p.surface_length
    surface_tx = p.surface_tx
    surface_ty = p.surface_ty
    surface_x = p.surface_x
    surface_y = p.surface_y
    tail_r = p.tail_r
    tail_x = p.tail_x
    tail_y = p.tail_y
    toe_r = p.toe_r
    toe_x = p.toe_x
    toe_y = p.toe_y
    top_ax = p.top_ax
    top_ay = p.top_ay
    top_bx = p.top_bx
    top_by = p.top_by
    top_cx = p.top_cx
    top_cy = p.top_cy
    touch_x = p.touch_x
    touch_y = p.touch_y
    turn_e_cushion = p.turn_e_cushion
    turn_e_knuckle = p.turn_e_knuckle
    turn_e_strike = p.turn_e_strike
    turn_e_tail = p.turn_e_tail
    turn_r_cushion = p.turn_r_cushion
    turn_r_knuckle = p.turn_r_knuckle
    turn_r_strike = p.turn_r_strike
    turn_r_tail = p.turn_r_tail
    wippen_mx = p.wippen_mx
    wippen_my = p.wippen_my
    wx = p.wx
    wy = p.wy
    zero = p.zero
    dt = run.dt
    viscous = run.viscous
    muscle_damping = run.muscle_damping
    stop = run.stop
    mode = int(run.mode)
    sweeps = int(run.sweeps)
    steps = int(run.steps)
    every = int(run.every)
    rub_dt = run.rub * dt
    i_kf = 0.0 if mode == 1 else inv_front
    i_f = run.inv_f if mode == 3 else 0.0
    inv_w = 1.0 / inertia_w
    mask = waves.shape[1] - 1
    near_whole = int(near_delay / dt)
    near_part = near_delay / dt - near_whole
    far_whole = int(far_delay / dt)
    far_part = far_delay / dt - far_whole
    head = int(out.head)
    kf = state.kf
    kr = state.kr
    w = state.w
    j = state.j
    l = state.l
    h = state.h
    e = state.e
    r = state.r
    d = state.d
    f = state.f
    v_kf = state.v_kf
    v_kr = state.v_kr
    v_w = state.v_w
    v_j = state.v_j
    v_l = state.v_l
    v_h = state.v_h
    v_e = state.v_e
    v_r = state.v_r
    v_d = state.v_d
    v_f = state.v_f
    o_kf = state.o_kf
    o_kr = state.o_kr
    o_w = state.o_w
    o_j = state.o_j
    o_l = state.o_l
    o_h = state.o_h
    o_e = state.o_e
    o_r = state.o_r
    o_d = state.o_d
    o_f = state.o_f
    ys = state.ys
    vs = state.vs
    L_key = state.L_key
    L_wippen = state.L_wippen
    L_jack = state.L_jack
    L_lever = state.L_lever
    L_hammer = state.L_hammer
    L_damper = state.L_damper
    L_capstan = state.L_capstan
    L_jack_knuckle = state.L_jack_knuckle
    L_lever_knuckle = state.L_lever_knuckle
    L_toe_button = state.L_toe_button
    L_drop_screw = state.L_drop_screw
    L_backcheck = state.L_backcheck
    was_finger = state.was_finger
    was_back_cloth = state.was_back_cloth
    was_punching = state.was_punching
    was_capstan = state.was_capstan
    was_jack_knuckle = state.was_jack_knuckle
    was_lever_knuckle = state.was_lever_knuckle
    was_toe_button = state.was_toe_button
    was_drop_screw = state.was_drop_screw
    was_jack_stop = state.was_jack_stop
    was_jack_window = state.was_jack_window
    was_lever_stop = state.was_lever_stop
    was_rest_cushion = state.was_rest_cushion
    was_backcheck = state.was_backcheck
    was_string = state.was_string
    was_key_damper = state.was_key_damper
    was_damper_seat = state.was_damper_seat
    N_finger = state.N_finger
    N_back_cloth = state.N_back_cloth
    N_punching = state.N_punching
    N_capstan = state.N_capstan
    N_jack_knuckle = state.N_jack_knuckle
    N_lever_knuckle = state.N_lever_knuckle
    N_toe_button = state.N_toe_button
    N_drop_screw = state.N_drop_screw
    N_jack_stop = state.N_jack_stop
    N_jack_window = state.N_jack_window
    N_lever_stop = state.N_lever_stop
    N_rest_cushion = state.N_rest_cushion
    N_backcheck = state.N_backcheck
    N_string = state.N_string
    N_key_damper = state.N_key_damper
    N_damper_seat = state.N_damper_seat
    loss_finger = out.loss_finger
    loss_back_cloth = out.loss_back_cloth
    loss_punching = out.loss_punching
    loss_capstan = out.loss_capstan
    loss_jack_knuckle = out.loss_jack_knuckle
    loss_lever_knuckle = out.loss_lever_knuckle
    loss_toe_button = out.loss_toe_button
    loss_drop_screw = out.loss_drop_screw
    loss_jack_stop = out.loss_jack_stop
    loss_jack_window = out.loss_jack_window
    loss_lever_stop = out.loss_lever_stop
    loss_rest_cushion = out.loss_rest_cushion
    loss_backcheck = out.loss_backcheck
    loss_string = out.loss_string
    loss_key_damper = out.loss_key_damper
    loss_damper_seat = out.loss_damper_seat
    rub_key = out.rub_key
    rub_wippen = out.rub_wippen
    rub_jack = out.rub_jack
    rub_lever = out.rub_lever
    rub_hammer = out.rub_hammer
    rub_damper = out.rub_damper
    rub_capstan = out.rub_capstan
    rub_jack_knuckle = out.rub_jack_knuckle
    rub_lever_knuckle = out.rub_lever_knuckle
    rub_toe_button = out.rub_toe_button
    rub_drop_screw = out.rub_drop_screw
    rub_backcheck = out.rub_backcheck
    loss_key_bending = out.loss_key_bending
    loss_shank_bending = out.loss_shank_bending
    finger_work = out.finger_work
    string_work = out.string_work
    status = 0
    where = -1
    logged = int(out.logged)
    traced = 0
    due = 0 if trace.shape[0] > 0 else -1
    seg = 0
    push = 0.0
    force_before = N_string
    begun = run.begun > 0.0
    crown_v = 0.0
    t = run.t0 + 0.5 * dt
    # positions: from the whole step to the first mid-step
    kf += 0.5 * dt * v_kf
    kr += 0.5 * dt * v_kr
    w += 0.5 * dt * v_w
    j += 0.5 * dt * v_j
    l += 0.5 * dt * v_l
    h += 0.5 * dt * v_h
    e += 0.5 * dt * v_e
    r += 0.5 * dt * v_r
    d += 0.5 * dt * v_d
    f += 0.5 * dt * v_f
    for n in range(steps):
        u_kf = 1.5 * v_kf - 0.5 * o_kf
        u_kr = 1.5 * v_kr - 0.5 * o_kr
        u_w = 1.5 * v_w - 0.5 * o_w
        u_j = 1.5 * v_j - 0.5 * o_j
        u_l = 1.5 * v_l - 0.5 * o_l
        u_h = 1.5 * v_h - 0.5 * o_h
        u_e = 1.5 * v_e - 0.5 * o_e
        u_r = 1.5 * v_r - 0.5 * o_r
        u_d = 1.5 * v_d - 0.5 * o_d
        u_f = 1.5 * v_f - 0.5 * o_f
        o_kf = v_kf
        o_kr = v_kr
        o_w = v_w
        o_j = v_j
        o_l = v_l
        o_h = v_h
        o_e = v_e
        o_r = v_r
        o_d = v_d
        o_f = v_f
        s_kf, c_kf = sine_cosine(kf)
        s_kr, c_kr = sine_cosine(kr)
        s_w, c_w = sine_cosine(w)
        s_j, c_j = sine_cosine(j)
        s_l, c_l = sine_cosine(l)
        s_h, c_h = sine_cosine(h)
        Jx = wx + c_w * jx - s_w * jy
        Jy = wy + s_w * jx + c_w * jy
        Lx = wx + c_w * lx - s_w * ly
        Ly = wy + s_w * lx + c_w * ly
        # weights, springs and the gyroscopic terms of jack and lever on the wippen
        turn_ = kr - kf
        spin_ = u_kr - u_kf
        m_ = key_bending_stiffness * turn_ + key_bending_damping * spin_
        Q_kf = key_front_moment * g * c_kf + m_
        Q_kr = -m_
        jmx_ = c_j * jack_mx - s_j * jack_my
        jmy_ = s_j * jack_mx + c_j * jack_my
        lmx_ = c_l * lever_mx - s_l * lever_my
        lmy_ = s_l * lever_mx + c_l * lever_my
        arm_jx = Jx - wx
        arm_jy = Jy - wy
        arm_lx = Lx - wx
        arm_ly = Ly - wy
        D = arm_jx * jmx_ + arm_jy * jmy_
        E = arm_lx * lmx_ + arm_ly * lmy_
        D1 = arm_jy * jmx_ - arm_jx * jmy_
        E1 = arm_ly * lmx_ - arm_lx * lmy_
        t_j = -(springs_jack + springs_jack_rate * (j - w))
        t_l = -(springs_repetition + springs_repetition_rate * (l - w))
        Q_w = -g * (c_w * wippen_mx - s_w * wippen_my) - t_j - t_l - D1 * u_j * u_j - E1 * u_l * u_l
        Q_j = -g * jmx_ + t_j + D1 * u_w * u_w
        Q_l = -g * lmx_ + t_l + E1 * u_w * u_w
        bend_x_ = e * bend_e_x + r * bend_r_x
        bend_y_ = e * bend_e_y + r * bend_r_y
        Q_h = -g * (c_h * hammer_mx - s_h * hammer_my - s_h * bend_x_ - c_h * bend_y_)
        Q_e = -g * (c_h * bend_e_x - s_h * bend_e_y) - spring_ee * e - damping_ee * u_e - spring_er * r - damping_er * u_r
        Q_r = -g * (c_h * bend_r_x - s_h * bend_r_y) - spring_er * e - damping_er * u_e - spring_rr * r - damping_rr * u_r
        Q_d = -damper_weight
        Q_f = 0.0

        # what the log needs
        P_finger_x = c_kf * touch_x - s_kf * touch_y
        P_finger_y = s_kf * touch_x + c_kf * touch_y
        hx_ = strike_x - (turn_e_strike * e + turn_r_strike * r) * strike_y
        hy_ = strike_y + lift_e_strike * e + lift_r_strike * r
        P_string_x = hx + c_h * hx_ - s_h * hy_
        P_string_y = hy + s_h * hx_ + c_h * hy_
        crown_y = P_string_y
        travel = touch_y - P_finger_y
        travel_v = -P_finger_x * u_kf
        crown_before = crown_v
        crown_v = (1.0 * (P_string_x - hx)) * u_h + (1.0 * (-s_h * turn_e_strike * strike_y + c_h * lift_e_strike + turn_e_strike * (P_string_x - P_string_x))) * u_e + (1.0 * (-s_h * turn_r_strike * strike_y + c_h * lift_r_strike + turn_r_strike * (P_string_x - P_string_x))) * u_r
        crown_a = (crown_v - crown_before) / dt if n > 0 else 0.0
        if mode == 2:
            push, seg = look_up(finger, t, seg)
            Q_kf -= push * P_finger_x
        elif mode == 3:
            pull_, seg = look_up(finger, t, seg)
            Q_f -= pull_ + muscle_damping * u_f

        # finger
        P_finger_x = c_kf * touch_x - s_kf * touch_y
        P_finger_y = s_kf * touch_x + c_kf * touch_y
        g_finger = f - (P_finger_y - touch_y)
        if g_finger < 0.0:
            a_finger_f = 1.0
            a_finger_kf = -P_finger_x
            d_finger = -g_finger
            if d_finger > limit_finger:
                status = 2
                where = 0
            rate_finger = -(a_finger_f * u_f + a_finger_kf * u_kf)
            f0_finger = K_finger * (d_finger * d_finger if p_finger == 2.0 else d_finger ** p_finger)
            calm_finger = f0_finger * c_finger * dt * (a_finger_f * a_finger_f * i_f + a_finger_kf * a_finger_kf * i_kf)
            last_finger = N_finger if n > 0 or begun else f0_finger
            N_finger = max(0.0, (f0_finger * (1.0 + c_finger * rate_finger) + calm_finger * last_finger) / (1.0 + calm_finger))
            Q_f += a_finger_f * N_finger
            Q_kf += a_finger_kf * N_finger
        else:
            N_finger = 0.0
        if (n > 0 or begun) and (g_finger < 0.0) != (was_finger < 0.0):
            logged = note(log, logged, t, dt, 0.0, g_finger, was_finger, crown_y, crown_v, crown_a, travel, travel_v)
        was_finger = g_finger

        # back_cloth
        P_back_cloth_x = c_kr * cloth_x - s_kr * cloth_y
        P_back_cloth_y = s_kr * cloth_x + c_kr * cloth_y
        g_back_cloth = P_back_cloth_y - cloth_plane - 0
        if g_back_cloth < 0.0:
            C_back_cloth_x = P_back_cloth_x
            C_back_cloth_y = P_back_cloth_y - 0
            a_back_cloth_kr = (1.0 * C_back_cloth_x)
            d_back_cloth = -g_back_cloth
            if d_back_cloth > limit_back_cloth:
                status = 2
                where = 1
            rate_back_cloth = -(a_back_cloth_kr * u_kr)
            f0_back_cloth = K_back_cloth * (d_back_cloth * d_back_cloth if p_back_cloth == 2.0 else d_back_cloth ** p_back_cloth)
            calm_back_cloth = f0_back_cloth * c_back_cloth * dt * (a_back_cloth_kr * a_back_cloth_kr * inv_rear)
            last_back_cloth = N_back_cloth if n > 0 or begun else f0_back_cloth
            N_back_cloth = max(0.0, (f0_back_cloth * (1.0 + c_back_cloth * rate_back_cloth) + calm_back_cloth * last_back_cloth) / (1.0 + calm_back_cloth))
            Q_kr += a_back_cloth_kr * N_back_cloth
        else:
            N_back_cloth = 0.0
        if (n > 0 or begun) and (g_back_cloth < 0.0) != (was_back_cloth < 0.0):
            logged = note(log, logged, t, dt, 1.0, g_back_cloth, was_back_cloth, crown_y, crown_v, crown_a, travel, travel_v)
        was_back_cloth = g_back_cloth

        # punching
        P_punching_x = c_kf * punching_x - s_kf * zero
        P_punching_y = s_kf * punching_x + c_kf * zero
        g_punching = P_punching_y - punching_plane - 0
        if g_punching < 0.0:
            C_punching_x = P_punching_x
            C_punching_y = P_punching_y - 0
            a_punching_kf = (1.0 * C_punching_x)
            d_punching = -g_punching
            if d_punching > limit_punching:
                status = 2
                where = 2
            rate_punching = -(a_punching_kf * u_kf)
            f0_punching = K_punching * (d_punching * d_punching if p_punching == 2.0 else d_punching ** p_punching)
            calm_punching = f0_punching * c_punching * dt * (a_punching_kf * a_punching_kf * i_kf)
            last_punching = N_punching if n > 0 or begun else f0_punching
            N_punching = max(0.0, (f0_punching * (1.0 + c_punching * rate_punching) + calm_punching * last_punching) / (1.0 + calm_punching))
            Q_kf += a_punching_kf * N_punching
        else:
            N_punching = 0.0
        if (n > 0 or begun) and (g_punching < 0.0) != (was_punching < 0.0):
            logged = note(log, logged, t, dt, 2.0, g_punching, was_punching, crown_y, crown_v, crown_a, travel, travel_v)
        was_punching = g_punching

        # capstan
        P_capstan_x = c_kr * capstan_x - s_kr * capstan_y
        P_capstan_y = s_kr * capstan_x + c_kr * capstan_y
        S_capstan_x = wx + c_w * heel_x - s_w * heel_y
        S_capstan_y = wy + s_w * heel_x + c_w * heel_y
        x_capstan = c_w * heel_tx - s_w * heel_ty
        y_capstan = s_w * heel_tx + c_w * heel_ty
        dx_capstan = P_capstan_x - S_capstan_x
        dy_capstan = P_capstan_y - S_capstan_y
        n_capstan_x = -y_capstan
        n_capstan_y = x_capstan
        g_capstan = dy_capstan * x_capstan - dx_capstan * y_capstan - capstan_r
        bound_capstan = 0.0
        if g_capstan < 0.0:
            C_capstan_x = P_capstan_x - capstan_r * n_capstan_x
            C_capstan_y = P_capstan_y - capstan_r * n_capstan_y
            a_capstan_kr = (n_capstan_y * C_capstan_x -n_capstan_x * C_capstan_y)
            a_capstan_w = -(n_capstan_y * (C_capstan_x - wx) -n_capstan_x * (C_capstan_y - wy))
            d_capstan = -g_capstan
            if d_capstan > limit_capstan:
                status = 2
                where = 3
            rate_capstan = -(a_capstan_kr * u_kr + a_capstan_w * u_w)
            f0_capstan = K_capstan * (d_capstan * d_capstan if p_capstan == 2.0 else d_capstan ** p_capstan)
            calm_capstan = f0_capstan * c_capstan * dt * (a_capstan_kr * a_capstan_kr * inv_rear + a_capstan_w * a_capstan_w * inv_w)
            last_capstan = N_capstan if n > 0 or begun else f0_capstan
            N_capstan = max(0.0, (f0_capstan * (1.0 + c_capstan * rate_capstan) + calm_capstan * last_capstan) / (1.0 + calm_capstan))
            Q_kr += a_capstan_kr * N_capstan
            Q_w += a_capstan_w * N_capstan
            b_capstan_kr = ((-n_capstan_x) * C_capstan_x -n_capstan_y * C_capstan_y)
            b_capstan_w = -((-n_capstan_x) * (C_capstan_x - wx) -n_capstan_y * (C_capstan_y - wy))
            bound_capstan = mu_capstan * N_capstan * rub_dt
        else:
            N_capstan = 0.0
        if (n > 0 or begun) and (g_capstan < 0.0) != (was_capstan < 0.0):
            logged = note(log, logged, t, dt, 3.0, g_capstan, was_capstan, crown_y, crown_v, crown_a, travel, travel_v)
        was_capstan = g_capstan

        # jack_knuckle
        hx_jack_knuckle = knuckle_x - (turn_e_knuckle * e + turn_r_knuckle * r) * knuckle_y
        hy_jack_knuckle = knuckle_y + lift_e_knuckle * e + lift_r_knuckle * r
        P_jack_knuckle_x = hx + c_h * hx_jack_knuckle - s_h * hy_jack_knuckle
        P_jack_knuckle_y = hy + s_h * hx_jack_knuckle + c_h * hy_jack_knuckle
        A_jack_knuckle_x = Jx + c_j * top_ax - s_j * top_ay
        A_jack_knuckle_y = Jy + s_j * top_ax + c_j * top_ay
        B_jack_knuckle_x = Jx + c_j * top_bx - s_j * top_by
        B_jack_knuckle_y = Jy + s_j * top_bx + c_j * top_by
        C_jack_knuckle_x = Jx + c_j * top_cx - s_j * top_cy
        C_jack_knuckle_y = Jy + s_j * top_cx + c_j * top_cy
        best_jack_knuckle = 1.0e9
        x_jack_knuckle = B_jack_knuckle_x - A_jack_knuckle_x
        y_jack_knuckle = B_jack_knuckle_y - A_jack_knuckle_y
        dx_jack_knuckle = P_jack_knuckle_x - A_jack_knuckle_x
        dy_jack_knuckle = P_jack_knuckle_y - A_jack_knuckle_y
        s_jack_knuckle = (dx_jack_knuckle * x_jack_knuckle + dy_jack_knuckle * y_jack_knuckle) / (x_jack_knuckle * x_jack_knuckle + y_jack_knuckle * y_jack_knuckle)
        s_jack_knuckle = min(1.0, max(0.0, s_jack_knuckle))
        dx_jack_knuckle -= s_jack_knuckle * x_jack_knuckle
        dy_jack_knuckle -= s_jack_knuckle * y_jack_knuckle
        r_jack_knuckle = dx_jack_knuckle * dx_jack_knuckle + dy_jack_knuckle * dy_jack_knuckle
        if r_jack_knuckle < best_jack_knuckle:
            best_jack_knuckle = r_jack_knuckle
            n_jack_knuckle_x = dx_jack_knuckle
            n_jack_knuckle_y = dy_jack_knuckle
        x_jack_knuckle = C_jack_knuckle_x - B_jack_knuckle_x
        y_jack_knuckle = C_jack_knuckle_y - B_jack_knuckle_y
        dx_jack_knuckle = P_jack_knuckle_x - B_jack_knuckle_x
        dy_jack_knuckle = P_jack_knuckle_y - B_jack_knuckle_y
        s_jack_knuckle = (dx_jack_knuckle * x_jack_knuckle + dy_jack_knuckle * y_jack_knuckle) / (x_jack_knuckle * x_jack_knuckle + y_jack_knuckle * y_jack_knuckle)
        s_jack_knuckle = min(1.0, max(0.0, s_jack_knuckle))
        dx_jack_knuckle -= s_jack_knuckle * x_jack_knuckle
        dy_jack_knuckle -= s_jack_knuckle * y_jack_knuckle
        r_jack_knuckle = dx_jack_knuckle * dx_jack_knuckle + dy_jack_knuckle * dy_jack_knuckle
        if r_jack_knuckle < best_jack_knuckle:
            best_jack_knuckle = r_jack_knuckle
            n_jack_knuckle_x = dx_jack_knuckle
            n_jack_knuckle_y = dy_jack_knuckle
        r_jack_knuckle = math.sqrt(best_jack_knuckle)
        n_jack_knuckle_x /= r_jack_knuckle
        n_jack_knuckle_y /= r_jack_knuckle
        g_jack_knuckle = r_jack_knuckle - knuckle_on_jack_r
        bound_jack_knuckle = 0.0
        if g_jack_knuckle < 0.0:
            C_jack_knuckle_x = P_jack_knuckle_x - knuckle_on_jack_r * n_jack_knuckle_x
            C_jack_knuckle_y = P_jack_knuckle_y - knuckle_on_jack_r * n_jack_knuckle_y
            a_jack_knuckle_h = (n_jack_knuckle_y * (C_jack_knuckle_x - hx) -n_jack_knuckle_x * (C_jack_knuckle_y - hy))
            a_jack_knuckle_e = (n_jack_knuckle_x * (-c_h * turn_e_knuckle * knuckle_y - s_h * lift_e_knuckle - turn_e_knuckle * (C_jack_knuckle_y - P_jack_knuckle_y)) + n_jack_knuckle_y * (-s_h * turn_e_knuckle * knuckle_y + c_h * lift_e_knuckle + turn_e_knuckle * (C_jack_knuckle_x - P_jack_knuckle_x)))
            a_jack_knuckle_r = (n_jack_knuckle_x * (-c_h * turn_r_knuckle * knuckle_y - s_h * lift_r_knuckle - turn_r_knuckle * (C_jack_knuckle_y - P_jack_knuckle_y)) + n_jack_knuckle_y * (-s_h * turn_r_knuckle * knuckle_y + c_h * lift_r_knuckle + turn_r_knuckle * (C_jack_knuckle_x - P_jack_knuckle_x)))
            a_jack_knuckle_w = -(n_jack_knuckle_y * (Jx - wx) - n_jack_knuckle_x * (Jy - wy))
            a_jack_knuckle_j = -(n_jack_knuckle_y * (C_jack_knuckle_x - Jx) -n_jack_knuckle_x * (C_jack_knuckle_y - Jy))
            d_jack_knuckle = -g_jack_knuckle
            if d_jack_knuckle > limit_jack_knuckle:
                status = 2
                where = 4
            rate_jack_knuckle = -(a_jack_knuckle_h * u_h + a_jack_knuckle_e * u_e + a_jack_knuckle_r * u_r + a_jack_knuckle_w * u_w + a_jack_knuckle_j * u_j)
            f0_jack_knuckle = K_jack_knuckle * (d_jack_knuckle * d_jack_knuckle if p_jack_knuckle == 2.0 else d_jack_knuckle ** p_jack_knuckle)
            calm_jack_knuckle = f0_jack_knuckle * c_jack_knuckle * dt * (a_jack_knuckle_w * a_jack_knuckle_w * inv_w + a_jack_knuckle_j * a_jack_knuckle_j * inv_j + a_jack_knuckle_h * a_jack_knuckle_h * inv_hh + 2.0 * a_jack_knuckle_h * a_jack_knuckle_e * inv_he + 2.0 * a_jack_knuckle_h * a_jack_knuckle_r * inv_hr + a_jack_knuckle_e * a_jack_knuckle_e * inv_ee + 2.0 * a_jack_knuckle_e * a_jack_knuckle_r * inv_er + a_jack_knuckle_r * a_jack_knuckle_r * inv_rr)
            last_jack_knuckle = N_jack_knuckle if n > 0 or begun else f0_jack_knuckle
            N_jack_knuckle = max(0.0, (f0_jack_knuckle * (1.0 + c_jack_knuckle * rate_jack_knuckle) + calm_jack_knuckle * last_jack_knuckle) / (1.0 + calm_jack_knuckle))
            Q_h += a_jack_knuckle_h * N_jack_knuckle
            Q_e += a_jack_knuckle_e * N_jack_knuckle
            Q_r += a_jack_knuckle_r * N_jack_knuckle
            Q_w += a_jack_knuckle_w * N_jack_knuckle
            Q_j += a_jack_knuckle_j * N_jack_knuckle
            b_jack_knuckle_h = ((-n_jack_knuckle_x) * (C_jack_knuckle_x - hx) -n_jack_knuckle_y * (C_jack_knuckle_y - hy))
            b_jack_knuckle_e = (n_jack_knuckle_y * (-c_h * turn_e_knuckle * knuckle_y - s_h * lift_e_knuckle - turn_e_knuckle * (C_jack_knuckle_y - P_jack_knuckle_y)) + (-n_jack_knuckle_x) * (-s_h * turn_e_knuckle * knuckle_y + c_h * lift_e_knuckle + turn_e_knuckle * (C_jack_knuckle_x - P_jack_knuckle_x)))
            b_jack_knuckle_r = (n_jack_knuckle_y * (-c_h * turn_r_knuckle * knuckle_y - s_h * lift_r_knuckle - turn_r_knuckle * (C_jack_knuckle_y - P_jack_knuckle_y)) + (-n_jack_knuckle_x) * (-s_h * turn_r_knuckle * knuckle_y + c_h * lift_r_knuckle + turn_r_knuckle * (C_jack_knuckle_x - P_jack_knuckle_x)))
            b_jack_knuckle_w = -((-n_jack_knuckle_x) * (Jx - wx) - n_jack_knuckle_y * (Jy - wy))
            b_jack_knuckle_j = -((-n_jack_knuckle_x) * (C_jack_knuckle_x - Jx) -n_jack_knuckle_y * (C_jack_knuckle_y - Jy))
            bound_jack_knuckle = mu_jack_knuckle * N_jack_knuckle * rub_dt
        else:
            N_jack_knuckle = 0.0
        if (n > 0 or begun) and (g_jack_knuckle < 0.0) != (was_jack_knuckle < 0.0):
            logged = note(log, logged, t, dt, 4.0, g_jack_knuckle, was_jack_knuckle, crown_y, crown_v, crown_a, travel, travel_v)
        was_jack_knuckle = g_jack_knuckle

        # lever_knuckle
        hx_lever_knuckle = knuckle_x - (turn_e_knuckle * e + turn_r_knuckle * r) * knuckle_y
        hy_lever_knuckle = knuckle_y + lift_e_knuckle * e + lift_r_knuckle * r
        P_lever_knuckle_x = hx + c_h * hx_lever_knuckle - s_h * hy_lever_knuckle
        P_lever_knuckle_y = hy + s_h * hx_lever_knuckle + c_h * hy_lever_knuckle
        S_lever_knuckle_x = Lx + c_l * surface_x - s_l * surface_y
        S_lever_knuckle_y = Ly + s_l * surface_x + c_l * surface_y
        x_lever_knuckle = c_l * surface_tx - s_l * surface_ty
        y_lever_knuckle = s_l * surface_tx + c_l * surface_ty
        dx_lever_knuckle = P_lever_knuckle_x - S_lever_knuckle_x
        dy_lever_knuckle = P_lever_knuckle_y - S_lever_knuckle_y
        n_lever_knuckle_x = -y_lever_knuckle
        n_lever_knuckle_y = x_lever_knuckle
        g_lever_knuckle = dy_lever_knuckle * x_lever_knuckle - dx_lever_knuckle * y_lever_knuckle - knuckle_r
        s_lever_knuckle = dx_lever_knuckle * x_lever_knuckle + dy_lever_knuckle * y_lever_knuckle
        if s_lever_knuckle < 0.0 or s_lever_knuckle > surface_length:
            s_lever_knuckle = 0.0 if s_lever_knuckle < 0.0 else surface_length
            dx_lever_knuckle -= s_lever_knuckle * x_lever_knuckle
            dy_lever_knuckle -= s_lever_knuckle * y_lever_knuckle
            r_lever_knuckle = math.sqrt(dx_lever_knuckle * dx_lever_knuckle + dy_lever_knuckle * dy_lever_knuckle)
            n_lever_knuckle_x = dx_lever_knuckle / r_lever_knuckle
            n_lever_knuckle_y = dy_lever_knuckle / r_lever_knuckle
            g_lever_knuckle = r_lever_knuckle - knuckle_r
        bound_lever_knuckle = 0.0
        if g_lever_knuckle < 0.0:
            C_lever_knuckle_x = P_lever_knuckle_x - knuckle_r * n_lever_knuckle_x
            C_lever_knuckle_y = P_lever_knuckle_y - knuckle_r * n_lever_knuckle_y
            a_lever_knuckle_h = (n_lever_knuckle_y * (C_lever_knuckle_x - hx) -n_lever_knuckle_x * (C_lever_knuckle_y - hy))
            a_lever_knuckle_e = (n_lever_knuckle_x * (-c_h * turn_e_knuckle * knuckle_y - s_h * lift_e_knuckle - turn_e_knuckle * (C_lever_knuckle_y - P_lever_knuckle_y)) + n_lever_knuckle_y * (-s_h * turn_e_knuckle * knuckle_y + c_h * lift_e_knuckle + turn_e_knuckle * (C_lever_knuckle_x - P_lever_knuckle_x)))
            a_lever_knuckle_r = (n_lever_knuckle_x * (-c_h * turn_r_knuckle * knuckle_y - s_h * lift_r_knuckle - turn_r_knuckle * (C_lever_knuckle_y - P_lever_knuckle_y)) + n_lever_knuckle_y * (-s_h * turn_r_knuckle * knuckle_y + c_h * lift_r_knuckle + turn_r_knuckle * (C_lever_knuckle_x - P_lever_knuckle_x)))
            a_lever_knuckle_w = -(n_lever_knuckle_y * (Lx - wx) - n_lever_knuckle_x * (Ly - wy))
            a_lever_knuckle_l = -(n_lever_knuckle_y * (C_lever_knuckle_x - Lx) -n_lever_knuckle_x * (C_lever_knuckle_y - Ly))
            d_lever_knuckle = -g_lever_knuckle
            if d_lever_knuckle > limit_lever_knuckle:
                status = 2
                where = 5
            rate_lever_knuckle = -(a_lever_knuckle_h * u_h + a_lever_knuckle_e * u_e + a_lever_knuckle_r * u_r + a_lever_knuckle_w * u_w + a_lever_knuckle_l * u_l)
            f0_lever_knuckle = K_lever_knuckle * (d_lever_knuckle * d_lever_knuckle if p_lever_knuckle == 2.0 else d_lever_knuckle ** p_lever_knuckle)
            calm_lever_knuckle = f0_lever_knuckle * c_lever_knuckle * dt * (a_lever_knuckle_w * a_lever_knuckle_w * inv_w + a_lever_knuckle_l * a_lever_knuckle_l * inv_l + a_lever_knuckle_h * a_lever_knuckle_h * inv_hh + 2.0 * a_lever_knuckle_h * a_lever_knuckle_e * inv_he + 2.0 * a_lever_knuckle_h * a_lever_knuckle_r * inv_hr + a_lever_knuckle_e * a_lever_knuckle_e * inv_ee + 2.0 * a_lever_knuckle_e * a_lever_knuckle_r * inv_er + a_lever_knuckle_r * a_lever_knuckle_r * inv_rr)
            last_lever_knuckle = N_lever_knuckle if n > 0 or begun else f0_lever_knuckle
            N_lever_knuckle = max(0.0, (f0_lever_knuckle * (1.0 + c_lever_knuckle * rate_lever_knuckle) + calm_lever_knuckle * last_lever_knuckle) / (1.0 + calm_lever_knuckle))
            Q_h += a_lever_knuckle_h * N_lever_knuckle
            Q_e += a_lever_knuckle_e * N_lever_knuckle
            Q_r += a_lever_knuckle_r * N_lever_knuckle
            Q_w += a_lever_knuckle_w * N_lever_knuckle
            Q_l += a_lever_knuckle_l * N_lever_knuckle
            b_lever_knuckle_h = ((-n_lever_knuckle_x) * (C_lever_knuckle_x - hx) -n_lever_knuckle_y * (C_lever_knuckle_y - hy))
            b_lever_knuckle_e = (n_lever_knuckle_y * (-c_h * turn_e_knuckle * knuckle_y - s_h * lift_e_knuckle - turn_e_knuckle * (C_lever_knuckle_y - P_lever_knuckle_y)) + (-n_lever_knuckle_x) * (-s_h * turn_e_knuckle * knuckle_y + c_h * lift_e_knuckle + turn_e_knuckle * (C_lever_knuckle_x - P_lever_knuckle_x)))
            b_lever_knuckle_r = (n_lever_knuckle_y * (-c_h * turn_r_knuckle * knuckle_y - s_h * lift_r_knuckle - turn_r_knuckle * (C_lever_knuckle_y - P_lever_knuckle_y)) + (-n_lever_knuckle_x) * (-s_h * turn_r_knuckle * knuckle_y + c_h * lift_r_knuckle + turn_r_knuckle * (C_lever_knuckle_x - P_lever_knuckle_x)))
            b_lever_knuckle_w = -((-n_lever_knuckle_x) * (Lx - wx) - n_lever_knuckle_y * (Ly - wy))
            b_lever_knuckle_l = -((-n_lever_knuckle_x) * (C_lever_knuckle_x - Lx) -n_lever_knuckle_y * (C_lever_knuckle_y - Ly))
            bound_lever_knuckle = mu_lever_knuckle * N_lever_knuckle * rub_dt
        else:
            N_lever_knuckle = 0.0
        if (n > 0 or begun) and (g_lever_knuckle < 0.0) != (was_lever_knuckle < 0.0):
            logged = note(log, logged, t, dt, 5.0, g_lever_knuckle, was_lever_knuckle, crown_y, crown_v, crown_a, travel, travel_v)
        was_lever_knuckle = g_lever_knuckle

        # toe_button
        P_toe_button_x = Jx + c_j * toe_x - s_j * toe_y
        P_toe_button_y = Jy + s_j * toe_x + c_j * toe_y
        g_toe_button = button_plane - P_toe_button_y - toe_r
        bound_toe_button = 0.0
        if g_toe_button < 0.0:
            C_toe_button_x = P_toe_button_x
            C_toe_button_y = P_toe_button_y + toe_r
            a_toe_button_w = (-1.0 * (Jx - wx))
            a_toe_button_j = (-1.0 * (C_toe_button_x - Jx))
            d_toe_button = -g_toe_button
            if d_toe_button > limit_toe_button:
                status = 2
                where = 6
            rate_toe_button = -(a_toe_button_w * u_w + a_toe_button_j * u_j)
            f0_toe_button = K_toe_button * (d_toe_button * d_toe_button if p_toe_button == 2.0 else d_toe_button ** p_toe_button)
            calm_toe_button = f0_toe_button * c_toe_button * dt * (a_toe_button_w * a_toe_button_w * inv_w + a_toe_button_j * a_toe_button_j * inv_j)
            last_toe_button = N_toe_button if n > 0 or begun else f0_toe_button
            N_toe_button = max(0.0, (f0_toe_button * (1.0 + c_toe_button * rate_toe_button) + calm_toe_button * last_toe_button) / (1.0 + calm_toe_button))
            Q_w += a_toe_button_w * N_toe_button
            Q_j += a_toe_button_j * N_toe_button
            b_toe_button_w = (- -1.0 * (Jy - wy))
            b_toe_button_j = (--1.0 * (C_toe_button_y - Jy))
            bound_toe_button = mu_toe_button * N_toe_button * rub_dt
        else:
            N_toe_button = 0.0
        if (n > 0 or begun) and (g_toe_button < 0.0) != (was_toe_button < 0.0):
            logged = note(log, logged, t, dt, 6.0, g_toe_button, was_toe_button, crown_y, crown_v, crown_a, travel, travel_v)
        was_toe_button = g_toe_button

        # drop_screw
        P_drop_screw_x = screw_x
        P_drop_screw_y = screw_y
        S_drop_screw_x = Lx + c_l * surface_x - s_l * surface_y
        S_drop_screw_y = Ly + s_l * surface_x + c_l * surface_y
        x_drop_screw = c_l * surface_tx - s_l * surface_ty
        y_drop_screw = s_l * surface_tx + c_l * surface_ty
        dx_drop_screw = P_drop_screw_x - S_drop_screw_x
        dy_drop_screw = P_drop_screw_y - S_drop_screw_y
        n_drop_screw_x = -y_drop_screw
        n_drop_screw_y = x_drop_screw
        g_drop_screw = dy_drop_screw * x_drop_screw - dx_drop_screw * y_drop_screw - screw_r
        s_drop_screw = dx_drop_screw * x_drop_screw + dy_drop_screw * y_drop_screw
        if s_drop_screw < 0.0 or s_drop_screw > surface_length:
            s_drop_screw = 0.0 if s_drop_screw < 0.0 else surface_length
            dx_drop_screw -= s_drop_screw * x_drop_screw
            dy_drop_screw -= s_drop_screw * y_drop_screw
            r_drop_screw = math.sqrt(dx_drop_screw * dx_drop_screw + dy_drop_screw * dy_drop_screw)
            n_drop_screw_x = dx_drop_screw / r_drop_screw
            n_drop_screw_y = dy_drop_screw / r_drop_screw
            g_drop_screw = r_drop_screw - screw_r
        bound_drop_screw = 0.0
        if g_drop_screw < 0.0:
            C_drop_screw_x = P_drop_screw_x - screw_r * n_drop_screw_x
            C_drop_screw_y = P_drop_screw_y - screw_r * n_drop_screw_y
            a_drop_screw_w = -(n_drop_screw_y * (Lx - wx) - n_drop_screw_x * (Ly - wy))
            a_drop_screw_l = -(n_drop_screw_y * (C_drop_screw_x - Lx) -n_drop_screw_x * (C_drop_screw_y - Ly))
            d_drop_screw = -g_drop_screw
            if d_drop_screw > limit_drop_screw:
                status = 2
                where = 7
            rate_drop_screw = -(a_drop_screw_w * u_w + a_drop_screw_l * u_l)
            f0_drop_screw = K_drop_screw * (d_drop_screw * d_drop_screw if p_drop_screw == 2.0 else d_drop_screw ** p_drop_screw)
            calm_drop_screw = f0_drop_screw * c_drop_screw * dt * (a_drop_screw_w * a_drop_screw_w * inv_w + a_drop_screw_l * a_drop_screw_l * inv_l)
            last_drop_screw = N_drop_screw if n > 0 or begun else f0_drop_screw
            N_drop_screw = max(0.0, (f0_drop_screw * (1.0 + c_drop_screw * rate_drop_screw) + calm_drop_screw * last_drop_screw) / (1.0 + calm_drop_screw))
            Q_w += a_drop_screw_w * N_drop_screw
            Q_l += a_drop_screw_l * N_drop_screw
            b_drop_screw_w = -((-n_drop_screw_x) * (Lx - wx) - n_drop_screw_y * (Ly - wy))
            b_drop_screw_l = -((-n_drop_screw_x) * (C_drop_screw_x - Lx) -n_drop_screw_y * (C_drop_screw_y - Ly))
            bound_drop_screw = mu_drop_screw * N_drop_screw * rub_dt
        else:
            N_drop_screw = 0.0
        if (n > 0 or begun) and (g_drop_screw < 0.0) != (was_drop_screw < 0.0):
            logged = note(log, logged, t, dt, 7.0, g_drop_screw, was_drop_screw, crown_y, crown_v, crown_a, travel, travel_v)
        was_drop_screw = g_drop_screw

        # jack_stop
        g_jack_stop = stop_arm * ((j - w - jack_stop_turn))
        if g_jack_stop < 0.0:
            a_jack_stop_j = stop_arm
            a_jack_stop_w = -stop_arm
            d_jack_stop = -g_jack_stop
            if d_jack_stop > limit_jack_stop:
                status = 2
                where = 8
            rate_jack_stop = -(a_jack_stop_j * u_j + a_jack_stop_w * u_w)
            f0_jack_stop = K_jack_stop * (d_jack_stop * d_jack_stop if p_jack_stop == 2.0 else d_jack_stop ** p_jack_stop)
            calm_jack_stop = f0_jack_stop * c_jack_stop * dt * (a_jack_stop_j * a_jack_stop_j * inv_j + a_jack_stop_w * a_jack_stop_w * inv_w)
            last_jack_stop = N_jack_stop if n > 0 or begun else f0_jack_stop
            N_jack_stop = max(0.0, (f0_jack_stop * (1.0 + c_jack_stop * rate_jack_stop) + calm_jack_stop * last_jack_stop) / (1.0 + calm_jack_stop))
            Q_j += a_jack_stop_j * N_jack_stop
            Q_w += a_jack_stop_w * N_jack_stop
        else:
            N_jack_stop = 0.0
        if (n > 0 or begun) and (g_jack_stop < 0.0) != (was_jack_stop < 0.0):
            logged = note(log, logged, t, dt, 8.0, g_jack_stop, was_jack_stop, crown_y, crown_v, crown_a, travel, travel_v)
        was_jack_stop = g_jack_stop

        # jack_window
        g_jack_window = stop_arm * (-(j - w - jack_window_turn))
        if g_jack_window < 0.0:
            a_jack_window_j = -stop_arm
            a_jack_window_w = stop_arm
            d_jack_window = -g_jack_window
            if d_jack_window > limit_jack_window:
                status = 2
                where = 9
            rate_jack_window = -(a_jack_window_j * u_j + a_jack_window_w * u_w)
            f0_jack_window = K_jack_window * (d_jack_window * d_jack_window if p_jack_window == 2.0 else d_jack_window ** p_jack_window)
            calm_jack_window = f0_jack_window * c_jack_window * dt * (a_jack_window_j * a_jack_window_j * inv_j + a_jack_window_w * a_jack_window_w * inv_w)
            last_jack_window = N_jack_window if n > 0 or begun else f0_jack_window
            N_jack_window = max(0.0, (f0_jack_window * (1.0 + c_jack_window * rate_jack_window) + calm_jack_window * last_jack_window) / (1.0 + calm_jack_window))
            Q_j += a_jack_window_j * N_jack_window
            Q_w += a_jack_window_w * N_jack_window
        else:
            N_jack_window = 0.0
        if (n > 0 or begun) and (g_jack_window < 0.0) != (was_jack_window < 0.0):
            logged = note(log, logged, t, dt, 9.0, g_jack_window, was_jack_window, crown_y, crown_v, crown_a, travel, travel_v)
        was_jack_window = g_jack_window

        # lever_stop
        g_lever_stop = stop_arm * ((l - w - lever_stop_turn))
        if g_lever_stop < 0.0:
            a_lever_stop_l = stop_arm
            a_lever_stop_w = -stop_arm
            d_lever_stop = -g_lever_stop
            if d_lever_stop > limit_lever_stop:
                status = 2
                where = 10
            rate_lever_stop = -(a_lever_stop_l * u_l + a_lever_stop_w * u_w)
            f0_lever_stop = K_lever_stop * (d_lever_stop * d_lever_stop if p_lever_stop == 2.0 else d_lever_stop ** p_lever_stop)
            calm_lever_stop = f0_lever_stop * c_lever_stop * dt * (a_lever_stop_l * a_lever_stop_l * inv_l + a_lever_stop_w * a_lever_stop_w * inv_w)
            last_lever_stop = N_lever_stop if n > 0 or begun else f0_lever_stop
            N_lever_stop = max(0.0, (f0_lever_stop * (1.0 + c_lever_stop * rate_lever_stop) + calm_lever_stop * last_lever_stop) / (1.0 + calm_lever_stop))
            Q_l += a_lever_stop_l * N_lever_stop
            Q_w += a_lever_stop_w * N_lever_stop
        else:
            N_lever_stop = 0.0
        if (n > 0 or begun) and (g_lever_stop < 0.0) != (was_lever_stop < 0.0):
            logged = note(log, logged, t, dt, 10.0, g_lever_stop, was_lever_stop, crown_y, crown_v, crown_a, travel, travel_v)
        was_lever_stop = g_lever_stop

        # rest_cushion
        hx_rest_cushion = cushion_x - (turn_e_cushion * e + turn_r_cushion * r) * cushion_y
        hy_rest_cushion = cushion_y + lift_e_cushion * e + lift_r_cushion * r
        P_rest_cushion_x = hx + c_h * hx_rest_cushion - s_h * hy_rest_cushion
        P_rest_cushion_y = hy + s_h * hx_rest_cushion + c_h * hy_rest_cushion
        g_rest_cushion = P_rest_cushion_y - cushion_plane - 0
        if g_rest_cushion < 0.0:
            C_rest_cushion_x = P_rest_cushion_x
            C_rest_cushion_y = P_rest_cushion_y - 0
            a_rest_cushion_h = (1.0 * (C_rest_cushion_x - hx))
            a_rest_cushion_e = (1.0 * (-s_h * turn_e_cushion * cushion_y + c_h * lift_e_cushion + turn_e_cushion * (C_rest_cushion_x - P_rest_cushion_x)))
            a_rest_cushion_r = (1.0 * (-s_h * turn_r_cushion * cushion_y + c_h * lift_r_cushion + turn_r_cushion * (C_rest_cushion_x - P_rest_cushion_x)))
            d_rest_cushion = -g_rest_cushion
            if d_rest_cushion > limit_rest_cushion:
                status = 2
                where = 11
            rate_rest_cushion = -(a_rest_cushion_h * u_h + a_rest_cushion_e * u_e + a_rest_cushion_r * u_r)
            f0_rest_cushion = K_rest_cushion * (d_rest_cushion * d_rest_cushion if p_rest_cushion == 2.0 else d_rest_cushion ** p_rest_cushion)
            calm_rest_cushion = f0_rest_cushion * c_rest_cushion * dt * (a_rest_cushion_h * a_rest_cushion_h * inv_hh + 2.0 * a_rest_cushion_h * a_rest_cushion_e * inv_he + 2.0 * a_rest_cushion_h * a_rest_cushion_r * inv_hr + a_rest_cushion_e * a_rest_cushion_e * inv_ee + 2.0 * a_rest_cushion_e * a_rest_cushion_r * inv_er + a_rest_cushion_r * a_rest_cushion_r * inv_rr)
            last_rest_cushion = N_rest_cushion if n > 0 or begun else f0_rest_cushion
            N_rest_cushion = max(0.0, (f0_rest_cushion * (1.0 + c_rest_cushion * rate_rest_cushion) + calm_rest_cushion * last_rest_cushion) / (1.0 + calm_rest_cushion))
            Q_h += a_rest_cushion_h * N_rest_cushion
            Q_e += a_rest_cushion_e * N_rest_cushion
            Q_r += a_rest_cushion_r * N_rest_cushion
        else:
            N_rest_cushion = 0.0
        if (n > 0 or begun) and (g_rest_cushion < 0.0) != (was_rest_cushion < 0.0):
            logged = note(log, logged, t, dt, 11.0, g_rest_cushion, was_rest_cushion, crown_y, crown_v, crown_a, travel, travel_v)
        was_rest_cushion = g_rest_cushion

        # backcheck
        hx_backcheck = tail_x - (turn_e_tail * e + turn_r_tail * r) * tail_y
        hy_backcheck = tail_y + lift_e_tail * e + lift_r_tail * r
        P_backcheck_x = hx + c_h * hx_backcheck - s_h * hy_backcheck
        P_backcheck_y = hy + s_h * hx_backcheck + c_h * hy_backcheck
        S_backcheck_x = c_kr * check_x - s_kr * check_y
        S_backcheck_y = s_kr * check_x + c_kr * check_y
        x_backcheck = c_kr * check_tx - s_kr * check_ty
        y_backcheck = s_kr * check_tx + c_kr * check_ty
        dx_backcheck = P_backcheck_x - S_backcheck_x
        dy_backcheck = P_backcheck_y - S_backcheck_y
        n_backcheck_x = -y_backcheck
        n_backcheck_y = x_backcheck
        g_backcheck = dy_backcheck * x_backcheck - dx_backcheck * y_backcheck - tail_r
        s_backcheck = dx_backcheck * x_backcheck + dy_backcheck * y_backcheck
        if s_backcheck < 0.0 or s_backcheck > check_length:
            s_backcheck = 0.0 if s_backcheck < 0.0 else check_length
            dx_backcheck -= s_backcheck * x_backcheck
            dy_backcheck -= s_backcheck * y_backcheck
            r_backcheck = math.sqrt(dx_backcheck * dx_backcheck + dy_backcheck * dy_backcheck)
            n_backcheck_x = dx_backcheck / r_backcheck
            n_backcheck_y = dy_backcheck / r_backcheck
            g_backcheck = r_backcheck - tail_r
        bound_backcheck = 0.0
        if g_backcheck < 0.0:
            C_backcheck_x = P_backcheck_x - tail_r * n_backcheck_x
            C_backcheck_y = P_backcheck_y - tail_r * n_backcheck_y
            a_backcheck_h = (n_backcheck_y * (C_backcheck_x - hx) -n_backcheck_x * (C_backcheck_y - hy))
            a_backcheck_e = (n_backcheck_x * (-c_h * turn_e_tail * tail_y - s_h * lift_e_tail - turn_e_tail * (C_backcheck_y - P_backcheck_y)) + n_backcheck_y * (-s_h * turn_e_tail * tail_y + c_h * lift_e_tail + turn_e_tail * (C_backcheck_x - P_backcheck_x)))
            a_backcheck_r = (n_backcheck_x * (-c_h * turn_r_tail * tail_y - s_h * lift_r_tail - turn_r_tail * (C_backcheck_y - P_backcheck_y)) + n_backcheck_y * (-s_h * turn_r_tail * tail_y + c_h * lift_r_tail + turn_r_tail * (C_backcheck_x - P_backcheck_x)))
            a_backcheck_kr = -(n_backcheck_y * C_backcheck_x -n_backcheck_x * C_backcheck_y)
            d_backcheck = -g_backcheck
            if d_backcheck > limit_backcheck:
                status = 2
                where = 12
            rate_backcheck = -(a_backcheck_h * u_h + a_backcheck_e * u_e + a_backcheck_r * u_r + a_backcheck_kr * u_kr)
            f0_backcheck = K_backcheck * (d_backcheck * d_backcheck if p_backcheck == 2.0 else d_backcheck ** p_backcheck)
            calm_backcheck = f0_backcheck * c_backcheck * dt * (a_backcheck_kr * a_backcheck_kr * inv_rear + a_backcheck_h * a_backcheck_h * inv_hh + 2.0 * a_backcheck_h * a_backcheck_e * inv_he + 2.0 * a_backcheck_h * a_backcheck_r * inv_hr + a_backcheck_e * a_backcheck_e * inv_ee + 2.0 * a_backcheck_e * a_backcheck_r * inv_er + a_backcheck_r * a_backcheck_r * inv_rr)
            last_backcheck = N_backcheck if n > 0 or begun else f0_backcheck
            N_backcheck = max(0.0, (f0_backcheck * (1.0 + c_backcheck * rate_backcheck) + calm_backcheck * last_backcheck) / (1.0 + calm_backcheck))
            Q_h += a_backcheck_h * N_backcheck
            Q_e += a_backcheck_e * N_backcheck
            Q_r += a_backcheck_r * N_backcheck
            Q_kr += a_backcheck_kr * N_backcheck
            b_backcheck_h = ((-n_backcheck_x) * (C_backcheck_x - hx) -n_backcheck_y * (C_backcheck_y - hy))
            b_backcheck_e = (n_backcheck_y * (-c_h * turn_e_tail * tail_y - s_h * lift_e_tail - turn_e_tail * (C_backcheck_y - P_backcheck_y)) + (-n_backcheck_x) * (-s_h * turn_e_tail * tail_y + c_h * lift_e_tail + turn_e_tail * (C_backcheck_x - P_backcheck_x)))
            b_backcheck_r = (n_backcheck_y * (-c_h * turn_r_tail * tail_y - s_h * lift_r_tail - turn_r_tail * (C_backcheck_y - P_backcheck_y)) + (-n_backcheck_x) * (-s_h * turn_r_tail * tail_y + c_h * lift_r_tail + turn_r_tail * (C_backcheck_x - P_backcheck_x)))
            b_backcheck_kr = -((-n_backcheck_x) * C_backcheck_x -n_backcheck_y * C_backcheck_y)
            bound_backcheck = mu_backcheck * N_backcheck * rub_dt
        else:
            N_backcheck = 0.0
        if (n > 0 or begun) and (g_backcheck < 0.0) != (was_backcheck < 0.0):
            logged = note(log, logged, t, dt, 12.0, g_backcheck, was_backcheck, crown_y, crown_v, crown_a, travel, travel_v)
        was_backcheck = g_backcheck

        # string
        hx_string = strike_x - (turn_e_strike * e + turn_r_strike * r) * strike_y
        hy_string = strike_y + lift_e_strike * e + lift_r_strike * r
        P_string_x = hx + c_h * hx_string - s_h * hy_string
        P_string_y = hy + s_h * hx_string + c_h * hy_string
        g_string = string_y + ys - P_string_y
        # waves coming back from the ends (inverted), then the force that fits felt and string at once
        from_near = -((1.0 - near_part) * waves[0, (head - near_whole) & mask] + near_part * waves[0, (head - near_whole - 1) & mask])
        from_far = 0.0
        if far_reflection > 0.0:
            from_far = -far_reflection * ((1.0 - far_part) * waves[1, (head - far_whole) & mask] + far_part * waves[1, (head - far_whole - 1) & mask])
        wave = from_near + from_far
        still_string = ys + 0.5 * dt * (vs + wave)
        N_string = 0.0
        f0_string = 0.0
        open_string = P_string_y - string_y - still_string
        if open_string > 0.0:
            a_string_h = (-1.0 * (P_string_x - hx))
            a_string_e = (-1.0 * (-s_h * turn_e_strike * strike_y + c_h * lift_e_strike + turn_e_strike * (P_string_x - P_string_x)))
            a_string_r = (-1.0 * (-s_h * turn_r_strike * strike_y + c_h * lift_r_strike + turn_r_strike * (P_string_x - P_string_x)))
            up_string = -(a_string_h * u_h + a_string_e * u_e + a_string_r * u_r) - wave
            force_string = force_before
            soft_string = 0.5 * dt * half_admittance
            for _ in range(20):
                d_string = max(0.0, open_string - soft_string * force_string)
                e1_string = K_string * d_string ** (p_string - 1.0)
                damp_string = 1.0 + c_string * (up_string - half_admittance * force_string)
                miss_string = force_string - e1_string * d_string * damp_string
                step_string = miss_string / (1.0 + e1_string * (p_string * soft_string * max(0.0, damp_string) + d_string * c_string * half_admittance))
                force_string = max(0.0, force_string - step_string)
                if abs(step_string) < 1e-9 * (1.0 + force_string):
                    break
            d_string = max(0.0, open_string - soft_string * force_string)
            f0_string = K_string * d_string ** p_string
            N_string = force_string
            if d_string > limit_string:
                status = 2
                where = 13
            Q_h += a_string_h * N_string
            Q_e += a_string_e * N_string
            Q_r += a_string_r * N_string
        force_before = N_string
        vs_new = half_admittance * N_string + wave
        ys += 0.5 * dt * (vs + vs_new)
        vs = vs_new
        waves[0, head & mask] = half_admittance * N_string + from_far
        waves[1, head & mask] = half_admittance * N_string + from_near
        head += 1
        string_work += dt * N_string * vs
        g_string = -max(0.0, open_string - soft_string * N_string) if open_string > 0.0 else -open_string
        g_string = 1e-12 if open_string > 0.0 and N_string == 0.0 else g_string
        if (n > 0 or begun) and (g_string < 0.0) != (was_string < 0.0):
            logged = note(log, logged, t, dt, 13.0, g_string, was_string, crown_y, crown_v, crown_a, travel, travel_v)
        was_string = g_string

        # key_damper
        P_key_damper_x = c_kr * damper_x - s_kr * damper_y
        P_key_damper_y = s_kr * damper_x + c_kr * damper_y
        g_key_damper = damper_gap + d - (P_key_damper_y - damper_y)
        if g_key_damper < 0.0:
            a_key_damper_d = 1.0
            a_key_damper_kr = -P_key_damper_x
            d_key_damper = -g_key_damper
            if d_key_damper > limit_key_damper:
                status = 2
                where = 14
            rate_key_damper = -(a_key_damper_d * u_d + a_key_damper_kr * u_kr)
            f0_key_damper = K_key_damper * (d_key_damper * d_key_damper if p_key_damper == 2.0 else d_key_damper ** p_key_damper)
            calm_key_damper = f0_key_damper * c_key_damper * dt * (a_key_damper_d * a_key_damper_d * inv_d + a_key_damper_kr * a_key_damper_kr * inv_rear)
            last_key_damper = N_key_damper if n > 0 or begun else f0_key_damper
            N_key_damper = max(0.0, (f0_key_damper * (1.0 + c_key_damper * rate_key_damper) + calm_key_damper * last_key_damper) / (1.0 + calm_key_damper))
            Q_d += a_key_damper_d * N_key_damper
            Q_kr += a_key_damper_kr * N_key_damper
        else:
            N_key_damper = 0.0
        if (n > 0 or begun) and (g_key_damper < 0.0) != (was_key_damper < 0.0):
            logged = note(log, logged, t, dt, 14.0, g_key_damper, was_key_damper, crown_y, crown_v, crown_a, travel, travel_v)
        was_key_damper = g_key_damper

        # damper_seat
        g_damper_seat = d
        if g_damper_seat < 0.0:
            a_damper_seat_d = 1.0
            d_damper_seat = -g_damper_seat
            if d_damper_seat > limit_damper_seat:
                status = 2
                where = 15
            rate_damper_seat = -(a_damper_seat_d * u_d)
            f0_damper_seat = K_damper_seat * (d_damper_seat * d_damper_seat if p_damper_seat == 2.0 else d_damper_seat ** p_damper_seat)
            calm_damper_seat = f0_damper_seat * c_damper_seat * dt * (a_damper_seat_d * a_damper_seat_d * inv_d)
            last_damper_seat = N_damper_seat if n > 0 or begun else f0_damper_seat
            N_damper_seat = max(0.0, (f0_damper_seat * (1.0 + c_damper_seat * rate_damper_seat) + calm_damper_seat * last_damper_seat) / (1.0 + calm_damper_seat))
            Q_d += a_damper_seat_d * N_damper_seat
        else:
            N_damper_seat = 0.0
        if (n > 0 or begun) and (g_damper_seat < 0.0) != (was_damper_seat < 0.0):
            logged = note(log, logged, t, dt, 15.0, g_damper_seat, was_damper_seat, crown_y, crown_v, crown_a, travel, travel_v)
        was_damper_seat = g_damper_seat

        # speed without friction
        gj = D * inv_j
        gl = E * inv_l
        inv_s = 1.0 / (inertia_w - D * gj - E * gl)
        slow_ = 1.0 - dt * viscous
        acc_kf = Q_kf * i_kf
        acc_kr = Q_kr * inv_rear
        acc_d = Q_d * inv_d
        acc_f = Q_f * i_f
        acc_w = (Q_w - gj * Q_j - gl * Q_l) * inv_s
        acc_j = Q_j * inv_j - gj * acc_w
        acc_l = Q_l * inv_l - gl * acc_w
        acc_h = Q_h * inv_hh + Q_e * inv_he + Q_r * inv_hr
        acc_e = Q_h * inv_he + Q_e * inv_ee + Q_r * inv_er
        acc_r = Q_h * inv_hr + Q_e * inv_er + Q_r * inv_rr
        v_kf = slow_ * o_kf + dt * acc_kf
        v_kr = slow_ * o_kr + dt * acc_kr
        v_w = slow_ * o_w + dt * acc_w
        v_j = slow_ * o_j + dt * acc_j
        v_l = slow_ * o_l + dt * acc_l
        v_h = slow_ * o_h + dt * acc_h
        v_e = slow_ * o_e + dt * acc_e
        v_r = slow_ * o_r + dt * acc_r
        v_d = slow_ * o_d + dt * acc_d
        v_f = slow_ * o_f + dt * acc_f
        if mode == 1:
            aim_, seg = look_up(finger, t + dt, seg)
            v_kf = (aim_ - kf) / dt
        elif mode == 4:
            aim_, seg = look_up(finger, t + dt, seg)
            v_f = (aim_ - f) / dt

        # dry friction: rows, then projected Gauss-Seidel from the last impulses
        B_key_kf = 1.0 * i_kf
        iW_key = 1.0 / (B_key_kf * 1.0 + 1e-300)
        bound_key = friction_key * rub_dt
        B_wippen_w = (1.0) * inv_s
        B_wippen_j = - gj * B_wippen_w
        B_wippen_l = - gl * B_wippen_w
        iW_wippen = 1.0 / (B_wippen_w * 1.0 + 1e-300)
        bound_wippen = friction_wippen * rub_dt
        B_jack_w = (-1.0 - gj * 1.0) * inv_s
        B_jack_j = 1.0 * inv_j - gj * B_jack_w
        B_jack_l = - gl * B_jack_w
        iW_jack = 1.0 / (B_jack_j * 1.0 + B_jack_w * -1.0 + 1e-300)
        bound_jack = friction_jack * rub_dt
        B_lever_w = (-1.0 - gl * 1.0) * inv_s
        B_lever_j = - gj * B_lever_w
        B_lever_l = 1.0 * inv_l - gl * B_lever_w
        iW_lever = 1.0 / (B_lever_l * 1.0 + B_lever_w * -1.0 + 1e-300)
        bound_lever = friction_lever * rub_dt
        B_hammer_h = 1.0 * inv_hh
        B_hammer_e = 1.0 * inv_he
        B_hammer_r = 1.0 * inv_hr
        iW_hammer = 1.0 / (B_hammer_h * 1.0 + 1e-300)
        bound_hammer = friction_hammer * rub_dt
        B_damper_d = 1.0 * inv_d
        iW_damper = 1.0 / (B_damper_d * 1.0 + 1e-300)
        bound_damper = friction_damper * rub_dt
        if bound_capstan > 0.0:
            B_capstan_kr = b_capstan_kr * inv_rear
            B_capstan_w = (b_capstan_w) * inv_s
            B_capstan_j = - gj * B_capstan_w
            B_capstan_l = - gl * B_capstan_w
            iW_capstan = 1.0 / (B_capstan_kr * b_capstan_kr + B_capstan_w * b_capstan_w)
        if bound_jack_knuckle > 0.0:
            B_jack_knuckle_w = (b_jack_knuckle_w - gj * b_jack_knuckle_j) * inv_s
            B_jack_knuckle_j = b_jack_knuckle_j * inv_j - gj * B_jack_knuckle_w
            B_jack_knuckle_l = - gl * B_jack_knuckle_w
            B_jack_knuckle_h = b_jack_knuckle_h * inv_hh + b_jack_knuckle_e * inv_he + b_jack_knuckle_r * inv_hr
            B_jack_knuckle_e = b_jack_knuckle_h * inv_he + b_jack_knuckle_e * inv_ee + b_jack_knuckle_r * inv_er
            B_jack_knuckle_r = b_jack_knuckle_h * inv_hr + b_jack_knuckle_e * inv_er + b_jack_knuckle_r * inv_rr
            iW_jack_knuckle = 1.0 / (B_jack_knuckle_h * b_jack_knuckle_h + B_jack_knuckle_e * b_jack_knuckle_e + B_jack_knuckle_r * b_jack_knuckle_r + B_jack_knuckle_w * b_jack_knuckle_w + B_jack_knuckle_j * b_jack_knuckle_j)
        if bound_lever_knuckle > 0.0:
            B_lever_knuckle_w = (b_lever_knuckle_w - gl * b_lever_knuckle_l) * inv_s
            B_lever_knuckle_j = - gj * B_lever_knuckle_w
            B_lever_knuckle_l = b_lever_knuckle_l * inv_l - gl * B_lever_knuckle_w
            B_lever_knuckle_h = b_lever_knuckle_h * inv_hh + b_lever_knuckle_e * inv_he + b_lever_knuckle_r * inv_hr
            B_lever_knuckle_e = b_lever_knuckle_h * inv_he + b_lever_knuckle_e * inv_ee + b_lever_knuckle_r * inv_er
            B_lever_knuckle_r = b_lever_knuckle_h * inv_hr + b_lever_knuckle_e * inv_er + b_lever_knuckle_r * inv_rr
            iW_lever_knuckle = 1.0 / (B_lever_knuckle_h * b_lever_knuckle_h + B_lever_knuckle_e * b_lever_knuckle_e + B_lever_knuckle_r * b_lever_knuckle_r + B_lever_knuckle_w * b_lever_knuckle_w + B_lever_knuckle_l * b_lever_knuckle_l)
        if bound_toe_button > 0.0:
            B_toe_button_w = (b_toe_button_w - gj * b_toe_button_j) * inv_s
            B_toe_button_j = b_toe_button_j * inv_j - gj * B_toe_button_w
            B_toe_button_l = - gl * B_toe_button_w
            iW_toe_button = 1.0 / (B_toe_button_w * b_toe_button_w + B_toe_button_j * b_toe_button_j)
        if bound_drop_screw > 0.0:
            B_drop_screw_w = (b_drop_screw_w - gl * b_drop_screw_l) * inv_s
            B_drop_screw_j = - gj * B_drop_screw_w
            B_drop_screw_l = b_drop_screw_l * inv_l - gl * B_drop_screw_w
            iW_drop_screw = 1.0 / (B_drop_screw_w * b_drop_screw_w + B_drop_screw_l * b_drop_screw_l)
        if bound_backcheck > 0.0:
            B_backcheck_kr = b_backcheck_kr * inv_rear
            B_backcheck_h = b_backcheck_h * inv_hh + b_backcheck_e * inv_he + b_backcheck_r * inv_hr
            B_backcheck_e = b_backcheck_h * inv_he + b_backcheck_e * inv_ee + b_backcheck_r * inv_er
            B_backcheck_r = b_backcheck_h * inv_hr + b_backcheck_e * inv_er + b_backcheck_r * inv_rr
            iW_backcheck = 1.0 / (B_backcheck_h * b_backcheck_h + B_backcheck_e * b_backcheck_e + B_backcheck_r * b_backcheck_r + B_backcheck_kr * b_backcheck_kr)
        L_key = bound_key if L_key > bound_key else (-bound_key if L_key < -bound_key else L_key)
        if L_key != 0.0:
            v_kf += B_key_kf * L_key
        L_wippen = bound_wippen if L_wippen > bound_wippen else (-bound_wippen if L_wippen < -bound_wippen else L_wippen)
        if L_wippen != 0.0:
            v_w += B_wippen_w * L_wippen
            v_j += B_wippen_j * L_wippen
            v_l += B_wippen_l * L_wippen
        L_jack = bound_jack if L_jack > bound_jack else (-bound_jack if L_jack < -bound_jack else L_jack)
        if L_jack != 0.0:
            v_w += B_jack_w * L_jack
            v_j += B_jack_j * L_jack
            v_l += B_jack_l * L_jack
        L_lever = bound_lever if L_lever > bound_lever else (-bound_lever if L_lever < -bound_lever else L_lever)
        if L_lever != 0.0:
            v_w += B_lever_w * L_lever
            v_j += B_lever_j * L_lever
            v_l += B_lever_l * L_lever
        L_hammer = bound_hammer if L_hammer > bound_hammer else (-bound_hammer if L_hammer < -bound_hammer else L_hammer)
        if L_hammer != 0.0:
            v_h += B_hammer_h * L_hammer
            v_e += B_hammer_e * L_hammer
            v_r += B_hammer_r * L_hammer
        L_damper = bound_damper if L_damper > bound_damper else (-bound_damper if L_damper < -bound_damper else L_damper)
        if L_damper != 0.0:
            v_d += B_damper_d * L_damper
        L_capstan = bound_capstan if L_capstan > bound_capstan else (-bound_capstan if L_capstan < -bound_capstan else L_capstan)
        if L_capstan != 0.0:
            v_kr += B_capstan_kr * L_capstan
            v_w += B_capstan_w * L_capstan
            v_j += B_capstan_j * L_capstan
            v_l += B_capstan_l * L_capstan
        L_jack_knuckle = bound_jack_knuckle if L_jack_knuckle > bound_jack_knuckle else (-bound_jack_knuckle if L_jack_knuckle < -bound_jack_knuckle else L_jack_knuckle)
        if L_jack_knuckle != 0.0:
            v_w += B_jack_knuckle_w * L_jack_knuckle
            v_j += B_jack_knuckle_j * L_jack_knuckle
            v_l += B_jack_knuckle_l * L_jack_knuckle
            v_h += B_jack_knuckle_h * L_jack_knuckle
            v_e += B_jack_knuckle_e * L_jack_knuckle
            v_r += B_jack_knuckle_r * L_jack_knuckle
        L_lever_knuckle = bound_lever_knuckle if L_lever_knuckle > bound_lever_knuckle else (-bound_lever_knuckle if L_lever_knuckle < -bound_lever_knuckle else L_lever_knuckle)
        if L_lever_knuckle != 0.0:
            v_w += B_lever_knuckle_w * L_lever_knuckle
            v_j += B_lever_knuckle_j * L_lever_knuckle
            v_l += B_lever_knuckle_l * L_lever_knuckle
            v_h += B_lever_knuckle_h * L_lever_knuckle
            v_e += B_lever_knuckle_e * L_lever_knuckle
            v_r += B_lever_knuckle_r * L_lever_knuckle
        L_toe_button = bound_toe_button if L_toe_button > bound_toe_button else (-bound_toe_button if L_toe_button < -bound_toe_button else L_toe_button)
        if L_toe_button != 0.0:
            v_w += B_toe_button_w * L_toe_button
            v_j += B_toe_button_j * L_toe_button
            v_l += B_toe_button_l * L_toe_button
        L_drop_screw = bound_drop_screw if L_drop_screw > bound_drop_screw else (-bound_drop_screw if L_drop_screw < -bound_drop_screw else L_drop_screw)
        if L_drop_screw != 0.0:
            v_w += B_drop_screw_w * L_drop_screw
            v_j += B_drop_screw_j * L_drop_screw
            v_l += B_drop_screw_l * L_drop_screw
        L_backcheck = bound_backcheck if L_backcheck > bound_backcheck else (-bound_backcheck if L_backcheck < -bound_backcheck else L_backcheck)
        if L_backcheck != 0.0:
            v_kr += B_backcheck_kr * L_backcheck
            v_h += B_backcheck_h * L_backcheck
            v_e += B_backcheck_e * L_backcheck
            v_r += B_backcheck_r * L_backcheck
        for _ in range(sweeps):
            change = 0.0
            if bound_key > 0.0:
                sum_key = 1.0 * v_kf
                new_key = L_key - sum_key * iW_key
                new_key = bound_key if new_key > bound_key else (-bound_key if new_key < -bound_key else new_key)
                d_key = new_key - L_key
                if d_key != 0.0:
                    L_key = new_key
                    v_kf += B_key_kf * d_key
                    change = max(change, abs(d_key) / (bound_key))
            if bound_wippen > 0.0:
                sum_wippen = 1.0 * v_w
                new_wippen = L_wippen - sum_wippen * iW_wippen
                new_wippen = bound_wippen if new_wippen > bound_wippen else (-bound_wippen if new_wippen < -bound_wippen else new_wippen)
                d_wippen = new_wippen - L_wippen
                if d_wippen != 0.0:
                    L_wippen = new_wippen
                    v_w += B_wippen_w * d_wippen
                    v_j += B_wippen_j * d_wippen
                    v_l += B_wippen_l * d_wippen
                    change = max(change, abs(d_wippen) / (bound_wippen))
            if bound_jack > 0.0:
                sum_jack = 1.0 * v_j + -1.0 * v_w
                new_jack = L_jack - sum_jack * iW_jack
                new_jack = bound_jack if new_jack > bound_jack else (-bound_jack if new_jack < -bound_jack else new_jack)
                d_jack = new_jack - L_jack
                if d_jack != 0.0:
                    L_jack = new_jack
                    v_w += B_jack_w * d_jack
                    v_j += B_jack_j * d_jack
                    v_l += B_jack_l * d_jack
                    change = max(change, abs(d_jack) / (bound_jack))
            if bound_lever > 0.0:
                sum_lever = 1.0 * v_l + -1.0 * v_w
                new_lever = L_lever - sum_lever * iW_lever
                new_lever = bound_lever if new_lever > bound_lever else (-bound_lever if new_lever < -bound_lever else new_lever)
                d_lever = new_lever - L_lever
                if d_lever != 0.0:
                    L_lever = new_lever
                    v_w += B_lever_w * d_lever
                    v_j += B_lever_j * d_lever
                    v_l += B_lever_l * d_lever
                    change = max(change, abs(d_lever) / (bound_lever))
            if bound_hammer > 0.0:
                sum_hammer = 1.0 * v_h
                new_hammer = L_hammer - sum_hammer * iW_hammer
                new_hammer = bound_hammer if new_hammer > bound_hammer else (-bound_hammer if new_hammer < -bound_hammer else new_hammer)
                d_hammer = new_hammer - L_hammer
                if d_hammer != 0.0:
                    L_hammer = new_hammer
                    v_h += B_hammer_h * d_hammer
                    v_e += B_hammer_e * d_hammer
                    v_r += B_hammer_r * d_hammer
                    change = max(change, abs(d_hammer) / (bound_hammer))
            if bound_damper > 0.0:
                sum_damper = 1.0 * v_d
                new_damper = L_damper - sum_damper * iW_damper
                new_damper = bound_damper if new_damper > bound_damper else (-bound_damper if new_damper < -bound_damper else new_damper)
                d_damper = new_damper - L_damper
                if d_damper != 0.0:
                    L_damper = new_damper
                    v_d += B_damper_d * d_damper
                    change = max(change, abs(d_damper) / (bound_damper))
            if bound_capstan > 0.0:
                sum_capstan = b_capstan_kr * v_kr + b_capstan_w * v_w
                new_capstan = L_capstan - sum_capstan * iW_capstan
                new_capstan = bound_capstan if new_capstan > bound_capstan else (-bound_capstan if new_capstan < -bound_capstan else new_capstan)
                d_capstan = new_capstan - L_capstan
                if d_capstan != 0.0:
                    L_capstan = new_capstan
                    v_kr += B_capstan_kr * d_capstan
                    v_w += B_capstan_w * d_capstan
                    v_j += B_capstan_j * d_capstan
                    v_l += B_capstan_l * d_capstan
                    change = max(change, abs(d_capstan) / (bound_capstan))
            if bound_jack_knuckle > 0.0:
                sum_jack_knuckle = b_jack_knuckle_h * v_h + b_jack_knuckle_e * v_e + b_jack_knuckle_r * v_r + b_jack_knuckle_w * v_w + b_jack_knuckle_j * v_j
                new_jack_knuckle = L_jack_knuckle - sum_jack_knuckle * iW_jack_knuckle
                new_jack_knuckle = bound_jack_knuckle if new_jack_knuckle > bound_jack_knuckle else (-bound_jack_knuckle if new_jack_knuckle < -bound_jack_knuckle else new_jack_knuckle)
                d_jack_knuckle = new_jack_knuckle - L_jack_knuckle
                if d_jack_knuckle != 0.0:
                    L_jack_knuckle = new_jack_knuckle
                    v_w += B_jack_knuckle_w * d_jack_knuckle
                    v_j += B_jack_knuckle_j * d_jack_knuckle
                    v_l += B_jack_knuckle_l * d_jack_knuckle
                    v_h += B_jack_knuckle_h * d_jack_knuckle
                    v_e += B_jack_knuckle_e * d_jack_knuckle
                    v_r += B_jack_knuckle_r * d_jack_knuckle
                    change = max(change, abs(d_jack_knuckle) / (bound_jack_knuckle))
            if bound_lever_knuckle > 0.0:
                sum_lever_knuckle = b_lever_knuckle_h * v_h + b_lever_knuckle_e * v_e + b_lever_knuckle_r * v_r + b_lever_knuckle_w * v_w + b_lever_knuckle_l * v_l
                new_lever_knuckle = L_lever_knuckle - sum_lever_knuckle * iW_lever_knuckle
                new_lever_knuckle = bound_lever_knuckle if new_lever_knuckle > bound_lever_knuckle else (-bound_lever_knuckle if new_lever_knuckle < -bound_lever_knuckle else new_lever_knuckle)
                d_lever_knuckle = new_lever_knuckle - L_lever_knuckle
                if d_lever_knuckle != 0.0:
                    L_lever_knuckle = new_lever_knuckle
                    v_w += B_lever_knuckle_w * d_lever_knuckle
                    v_j += B_lever_knuckle_j * d_lever_knuckle
                    v_l += B_lever_knuckle_l * d_lever_knuckle
                    v_h += B_lever_knuckle_h * d_lever_knuckle
                    v_e += B_lever_knuckle_e * d_lever_knuckle
                    v_r += B_lever_knuckle_r * d_lever_knuckle
                    change = max(change, abs(d_lever_knuckle) / (bound_lever_knuckle))
            if bound_toe_button > 0.0:
                sum_toe_button = b_toe_button_w * v_w + b_toe_button_j * v_j
                new_toe_button = L_toe_button - sum_toe_button * iW_toe_button
                new_toe_button = bound_toe_button if new_toe_button > bound_toe_button else (-bound_toe_button if new_toe_button < -bound_toe_button else new_toe_button)
                d_toe_button = new_toe_button - L_toe_button
                if d_toe_button != 0.0:
                    L_toe_button = new_toe_button
                    v_w += B_toe_button_w * d_toe_button
                    v_j += B_toe_button_j * d_toe_button
                    v_l += B_toe_button_l * d_toe_button
                    change = max(change, abs(d_toe_button) / (bound_toe_button))
            if bound_drop_screw > 0.0:
                sum_drop_screw = b_drop_screw_w * v_w + b_drop_screw_l * v_l
                new_drop_screw = L_drop_screw - sum_drop_screw * iW_drop_screw
                new_drop_screw = bound_drop_screw if new_drop_screw > bound_drop_screw else (-bound_drop_screw if new_drop_screw < -bound_drop_screw else new_drop_screw)
                d_drop_screw = new_drop_screw - L_drop_screw
                if d_drop_screw != 0.0:
                    L_drop_screw = new_drop_screw
                    v_w += B_drop_screw_w * d_drop_screw
                    v_j += B_drop_screw_j * d_drop_screw
                    v_l += B_drop_screw_l * d_drop_screw
                    change = max(change, abs(d_drop_screw) / (bound_drop_screw))
            if bound_backcheck > 0.0:
                sum_backcheck = b_backcheck_h * v_h + b_backcheck_e * v_e + b_backcheck_r * v_r + b_backcheck_kr * v_kr
                new_backcheck = L_backcheck - sum_backcheck * iW_backcheck
                new_backcheck = bound_backcheck if new_backcheck > bound_backcheck else (-bound_backcheck if new_backcheck < -bound_backcheck else new_backcheck)
                d_backcheck = new_backcheck - L_backcheck
                if d_backcheck != 0.0:
                    L_backcheck = new_backcheck
                    v_kr += B_backcheck_kr * d_backcheck
                    v_h += B_backcheck_h * d_backcheck
                    v_e += B_backcheck_e * d_backcheck
                    v_r += B_backcheck_r * d_backcheck
                    change = max(change, abs(d_backcheck) / (bound_backcheck))
            if change < stop:
                break

        # ledger, with the mean speed over the step
        m_kf = 0.5 * (o_kf + v_kf)
        m_kr = 0.5 * (o_kr + v_kr)
        m_w = 0.5 * (o_w + v_w)
        m_j = 0.5 * (o_j + v_j)
        m_l = 0.5 * (o_l + v_l)
        m_h = 0.5 * (o_h + v_h)
        m_e = 0.5 * (o_e + v_e)
        m_r = 0.5 * (o_r + v_r)
        m_d = 0.5 * (o_d + v_d)
        m_f = 0.5 * (o_f + v_f)
        if g_finger < 0.0:
            loss_finger += dt * (N_finger - f0_finger) * (-(a_finger_f * m_f + a_finger_kf * m_kf))
        if g_back_cloth < 0.0:
            loss_back_cloth += dt * (N_back_cloth - f0_back_cloth) * (-(a_back_cloth_kr * m_kr))
        if g_punching < 0.0:
            loss_punching += dt * (N_punching - f0_punching) * (-(a_punching_kf * m_kf))
        if g_capstan < 0.0:
            loss_capstan += dt * (N_capstan - f0_capstan) * (-(a_capstan_kr * m_kr + a_capstan_w * m_w))
        if g_jack_knuckle < 0.0:
            loss_jack_knuckle += dt * (N_jack_knuckle - f0_jack_knuckle) * (-(a_jack_knuckle_h * m_h + a_jack_knuckle_e * m_e + a_jack_knuckle_r * m_r + a_jack_knuckle_w * m_w + a_jack_knuckle_j * m_j))
        if g_lever_knuckle < 0.0:
            loss_lever_knuckle += dt * (N_lever_knuckle - f0_lever_knuckle) * (-(a_lever_knuckle_h * m_h + a_lever_knuckle_e * m_e + a_lever_knuckle_r * m_r + a_lever_knuckle_w * m_w + a_lever_knuckle_l * m_l))
        if g_toe_button < 0.0:
            loss_toe_button += dt * (N_toe_button - f0_toe_button) * (-(a_toe_button_w * m_w + a_toe_button_j * m_j))
        if g_drop_screw < 0.0:
            loss_drop_screw += dt * (N_drop_screw - f0_drop_screw) * (-(a_drop_screw_w * m_w + a_drop_screw_l * m_l))
        if g_jack_stop < 0.0:
            loss_jack_stop += dt * (N_jack_stop - f0_jack_stop) * (-(a_jack_stop_j * m_j + a_jack_stop_w * m_w))
        if g_jack_window < 0.0:
            loss_jack_window += dt * (N_jack_window - f0_jack_window) * (-(a_jack_window_j * m_j + a_jack_window_w * m_w))
        if g_lever_stop < 0.0:
            loss_lever_stop += dt * (N_lever_stop - f0_lever_stop) * (-(a_lever_stop_l * m_l + a_lever_stop_w * m_w))
        if g_rest_cushion < 0.0:
            loss_rest_cushion += dt * (N_rest_cushion - f0_rest_cushion) * (-(a_rest_cushion_h * m_h + a_rest_cushion_e * m_e + a_rest_cushion_r * m_r))
        if g_backcheck < 0.0:
            loss_backcheck += dt * (N_backcheck - f0_backcheck) * (-(a_backcheck_h * m_h + a_backcheck_e * m_e + a_backcheck_r * m_r + a_backcheck_kr * m_kr))
        if open_string > 0.0:
            loss_string += dt * (N_string - f0_string) * (-(a_string_h * m_h + a_string_e * m_e + a_string_r * m_r) - vs)
        if g_key_damper < 0.0:
            loss_key_damper += dt * (N_key_damper - f0_key_damper) * (-(a_key_damper_d * m_d + a_key_damper_kr * m_kr))
        if g_damper_seat < 0.0:
            loss_damper_seat += dt * (N_damper_seat - f0_damper_seat) * (-(a_damper_seat_d * m_d))
        rub_key -= L_key * (m_kf)
        rub_wippen -= L_wippen * (m_w)
        rub_jack -= L_jack * (m_j - m_w)
        rub_lever -= L_lever * (m_l - m_w)
        rub_hammer -= L_hammer * (m_h)
        rub_damper -= L_damper * (m_d)
        if L_capstan != 0.0:
            rub_capstan -= L_capstan * (b_capstan_kr * m_kr + b_capstan_w * m_w)
        if L_jack_knuckle != 0.0:
            rub_jack_knuckle -= L_jack_knuckle * (b_jack_knuckle_h * m_h + b_jack_knuckle_e * m_e + b_jack_knuckle_r * m_r + b_jack_knuckle_w * m_w + b_jack_knuckle_j * m_j)
        if L_lever_knuckle != 0.0:
            rub_lever_knuckle -= L_lever_knuckle * (b_lever_knuckle_h * m_h + b_lever_knuckle_e * m_e + b_lever_knuckle_r * m_r + b_lever_knuckle_w * m_w + b_lever_knuckle_l * m_l)
        if L_toe_button != 0.0:
            rub_toe_button -= L_toe_button * (b_toe_button_w * m_w + b_toe_button_j * m_j)
        if L_drop_screw != 0.0:
            rub_drop_screw -= L_drop_screw * (b_drop_screw_w * m_w + b_drop_screw_l * m_l)
        if L_backcheck != 0.0:
            rub_backcheck -= L_backcheck * (b_backcheck_h * m_h + b_backcheck_e * m_e + b_backcheck_r * m_r + b_backcheck_kr * m_kr)
        spin_ = m_kr - m_kf
        loss_key_bending += dt * key_bending_damping * (u_kr - u_kf) * spin_
        loss_shank_bending += dt * (damping_ee * u_e + damping_er * u_r) * m_e
        loss_shank_bending += dt * (damping_er * u_e + damping_rr * u_r) * m_r
        if mode == 1:
            impulse_ = (v_kf - o_kf) / inv_front - dt * Q_kf - L_key
            finger_work += impulse_ * m_kf
            push = -impulse_ / (dt * P_finger_x)
        elif mode == 2:
            finger_work += dt * push * (-P_finger_x) * m_kf
        elif mode >= 3:
            push = N_finger
            if N_finger > 0.0:
                finger_work += dt * N_finger * a_finger_kf * m_kf

        if n == due:
            due += every
            trace[traced, 0] = t
            trace[traced, 1] = kf
            trace[traced, 2] = kr
            trace[traced, 3] = w
            trace[traced, 4] = j
            trace[traced, 5] = l
            trace[traced, 6] = h
            trace[traced, 7] = e
            trace[traced, 8] = r
            trace[traced, 9] = d
            trace[traced, 10] = f
            trace[traced, 11] = m_kf
            trace[traced, 12] = m_kr
            trace[traced, 13] = m_w
            trace[traced, 14] = m_j
            trace[traced, 15] = m_l
            trace[traced, 16] = m_h
            trace[traced, 17] = m_e
            trace[traced, 18] = m_r
            trace[traced, 19] = m_d
            trace[traced, 20] = m_f
            trace[traced, 21] = ys
            trace[traced, 22] = push
            trace[traced, 23] = N_finger
            trace[traced, 24] = N_back_cloth
            trace[traced, 25] = N_punching
            trace[traced, 26] = N_capstan
            trace[traced, 27] = N_jack_knuckle
            trace[traced, 28] = N_lever_knuckle
            trace[traced, 29] = N_toe_button
            trace[traced, 30] = N_drop_screw
            trace[traced, 31] = N_jack_stop
            trace[traced, 32] = N_jack_window
            trace[traced, 33] = N_lever_stop
            trace[traced, 34] = N_rest_cushion
            trace[traced, 35] = N_backcheck
            trace[traced, 36] = N_string
            trace[traced, 37] = N_key_damper
            trace[traced, 38] = N_damper_seat
            trace[traced, 39] = L_key / dt
            trace[traced, 40] = L_wippen / dt
            trace[traced, 41] = L_jack / dt
            trace[traced, 42] = L_lever / dt
            trace[traced, 43] = L_hammer / dt
            trace[traced, 44] = L_damper / dt
            trace[traced, 45] = L_capstan / dt
            trace[traced, 46] = L_jack_knuckle / dt
            trace[traced, 47] = L_lever_knuckle / dt
            trace[traced, 48] = L_toe_button / dt
            trace[traced, 49] = L_drop_screw / dt
            trace[traced, 50] = L_backcheck / dt
            traced += 1
        check_ = v_kf + v_kr + v_w + v_j + v_l + v_h + v_e + v_r + v_d + v_f
        if not check_ * 0.0 == 0.0:
            status = 1
        if abs(kf) > 1.0 and status == 0:
            status = 3
            where = 0
        if abs(kr) > 1.0 and status == 0:
            status = 3
            where = 1
        if abs(w) > 1.0 and status == 0:
            status = 3
            where = 2
        if abs(j) > 1.0 and status == 0:
            status = 3
            where = 3
        if abs(l) > 1.0 and status == 0:
            status = 3
            where = 4
        if abs(h) > 1.0 and status == 0:
            status = 3
            where = 5
        if status != 0:
            break
        kf += dt * v_kf
        kr += dt * v_kr
        w += dt * v_w
        j += dt * v_j
        l += dt * v_l
        h += dt * v_h
        e += dt * v_e
        r += dt * v_r
        d += dt * v_d
        f += dt * v_f
        t += dt

    # back to the whole step
    kf -= 0.5 * dt * v_kf
    kr -= 0.5 * dt * v_kr
    w -= 0.5 * dt * v_w
    j -= 0.5 * dt * v_j
    l -= 0.5 * dt * v_l
    h -= 0.5 * dt * v_h
    e -= 0.5 * dt * v_e
    r -= 0.5 * dt * v_r
    d -= 0.5 * dt * v_d
    f -= 0.5 * dt * v_f
    state.kf = kf
    state.kr = kr
    state.w = w
    state.j = j
    state.l = l
    state.h = h
    state.e = e
    state.r = r
    state.d = d
    state.f = f
    state.v_kf = v_kf
    state.v_kr = v_kr
    state.v_w = v_w
    state.v_j = v_j
    state.v_l = v_l
    state.v_h = v_h
    state.v_e = v_e
    state.v_r = v_r
    state.v_d = v_d
    state.v_f = v_f
    state.o_kf = o_kf
    state.o_kr = o_kr
    state.o_w = o_w
    state.o_j = o_j
    state.o_l = o_l
    state.o_h = o_h
    state.o_e = o_e
    state.o_r = o_r
    state.o_d = o_d
    state.o_f = o_f
    state.ys = ys
    state.vs = vs
    state.L_key = L_key
    state.L_wippen = L_wippen
    state.L_jack = L_jack
    state.L_lever = L_lever
    state.L_hammer = L_hammer
    state.L_damper = L_damper
    state.L_capstan = L_capstan
    state.L_jack_knuckle = L_jack_knuckle
    state.L_lever_knuckle = L_lever_knuckle
    state.L_toe_button = L_toe_button
    state.L_drop_screw = L_drop_screw
    state.L_backcheck = L_backcheck
    state.was_finger = was_finger
    state.was_back_cloth = was_back_cloth
    state.was_punching = was_punching
    state.was_capstan = was_capstan
    state.was_jack_knuckle = was_jack_knuckle
    state.was_lever_knuckle = was_lever_knuckle
    state.was_toe_button = was_toe_button
    state.was_drop_screw = was_drop_screw
    state.was_jack_stop = was_jack_stop
    state.was_jack_window = was_jack_window
    state.was_lever_stop = was_lever_stop
    state.was_rest_cushion = was_rest_cushion
    state.was_backcheck = was_backcheck
    state.was_string = was_string
    state.was_key_damper = was_key_damper
    state.was_damper_seat = was_damper_seat
    state.N_finger = N_finger
    state.N_back_cloth = N_back_cloth
    state.N_punching = N_punching
    state.N_capstan = N_capstan
    state.N_jack_knuckle = N_jack_knuckle
    state.N_lever_knuckle = N_lever_knuckle
    state.N_toe_button = N_toe_button
    state.N_drop_screw = N_drop_screw
    state.N_jack_stop = N_jack_stop
    state.N_jack_window = N_jack_window
    state.N_lever_stop = N_lever_stop
    state.N_rest_cushion = N_rest_cushion
    state.N_backcheck = N_backcheck
    state.N_string = N_string
    state.N_key_damper = N_key_damper
    state.N_damper_seat = N_damper_seat
    out.status = status
    out.where = where
    out.time = t - 0.5 * dt
    out.logged = logged
    out.traced = traced
    out.finger_work = finger_work
    out.string_work = string_work
    out.head = head
    out.loss_finger = loss_finger
    out.loss_back_cloth = loss_back_cloth
    out.loss_punching = loss_punching
    out.loss_capstan = loss_capstan
    out.loss_jack_knuckle = loss_jack_knuckle
    out.loss_lever_knuckle = loss_lever_knuckle
    out.loss_toe_button = loss_toe_button
    out.loss_drop_screw = loss_drop_screw
    out.loss_jack_stop = loss_jack_stop
    out.loss_jack_window = loss_jack_window
    out.loss_lever_stop = loss_lever_stop
    out.loss_rest_cushion = loss_rest_cushion
    out.loss_backcheck = loss_backcheck
    out.loss_string = loss_string
    out.loss_key_damper = loss_key_damper
    out.loss_damper_seat = loss_damper_seat
    out.rub_key = rub_key
    out.rub_wippen = rub_wippen
    out.rub_jack = rub_jack
    out.rub_lever = rub_lever
    out.rub_hammer = rub_hammer
    out.rub_damper = rub_damper
    out.rub_capstan = rub_capstan
    out.rub_jack_knuckle = rub_jack_knuckle
    out.rub_lever_knuckle = rub_lever_knuckle
    out.rub_toe_button = rub_toe_button
    out.rub_drop_screw = rub_drop_screw
    out.rub_backcheck = rub_backcheck
    out.loss_key_bending = loss_key_bending
    out.loss_shank_bending = loss_shank_bending


@numba.njit(nogil=True, cache=True, error_model="numpy")
def energy(p, state, squeeze):
    """Kinetic energy, potential of weights and springs; ``squeeze`` gets what each contact stores (J)."""
    K_back_cloth = p.K_back_cloth
    K_backcheck = p.K_backcheck
    K_capstan = p.K_capstan
    K_damper_seat = p.K_damper_seat
    K_drop_screw = p.K_drop_screw
    K_finger = p.K_finger
    K_jack_knuckle = p.K_jack_knuckle
    K_jack_stop = p.K_jack_stop
    K_jack_window = p.K_jack_window
    K_key_damper = p.K_key_damper
    K_lever_knuckle = p.K_lever_knuckle
    K_lever_stop = p.K_lever_stop
    K_punching = p.K_punching
    K_rest_cushion = p.K_rest_cushion
    K_string = p.K_string
    K_toe_button = p.K_toe_button
    bend_e_x = p.bend_e_x
    bend_e_y = p.bend_e_y
    bend_r_x = p.bend_r_x
    bend_r_y = p.bend_r_y
    button_plane = p.button_plane
    capstan_r = p.capstan_r
    capstan_x = p.capstan_x
    capstan_y = p.capstan_y
    check_length = p.check_length
    check_tx = p.check_tx
    check_ty = p.check_ty
    check_x = p.check_x
    check_y = p.check_y
    cloth_plane = p.cloth_plane
    cloth_x = p.cloth_x
    cloth_y = p.cloth_y
    cushion_plane = p.cushion_plane
    cushion_x = p.cushion_x
    cushion_y = p.cushion_y
    damper_gap = p.damper_gap
    damper_weight = p.damper_weight
    damper_x = p.damper_x
    damper_y = p.damper_y
    g = p.g
    hammer_mx = p.hammer_mx
    hammer_my = p.hammer_my
    heel_tx = p.heel_tx
    heel_ty = p.heel_ty
    heel_x = p.heel_x
    heel_y = p.heel_y
    hx = p.hx
    hy = p.hy
    inertia_w = p.inertia_w
    inv_d = p.inv_d
    inv_front = p.inv_front
    inv_j = p.inv_j
    inv_l = p.inv_l
    inv_rear = p.inv_rear
    jack_mx = p.jack_mx
    jack_my = p.jack_my
    jack_stop_turn = p.jack_stop_turn
    jack_window_turn = p.jack_window_turn
    jx = p.jx
    jy = p.jy
    key_bending_stiffness = p.key_bending_stiffness
    key_front_moment = p.key_front_moment
    knuckle_on_jack_r = p.knuckle_on_jack_r
    knuckle_r = p.knuckle_r
    knuckle_x = p.knuckle_x
    knuckle_y = p.knuckle_y
    lever_mx = p.lever_mx
    lever_my = p.lever_my
    lever_stop_turn = p.lever_stop_turn
    lift_e_cushion = p.lift_e_cushion
    lift_e_knuckle = p.lift_e_knuckle
    lift_e_strike = p.lift_e_strike
    lift_e_tail = p.lift_e_tail
    lift_r_cushion = p.lift_r_cushion
    lift_r_knuckle = p.lift_r_knuckle
    lift_r_strike = p.lift_r_strike
    lift_r_tail = p.lift_r_tail
    lx = p.lx
    ly = p.ly
    mass_ee = p.mass_ee
    mass_er = p.mass_er
    mass_he = p.mass_he
    mass_hh = p.mass_hh
    mass_hr = p.mass_hr
    mass_rr = p.mass_rr
    p_back_cloth = p.p_back_cloth
    p_backcheck = p.p_backcheck
    p_capstan = p.p_capstan
    p_damper_seat = p.p_damper_seat
    p_drop_screw = p.p_drop_screw
    p_finger = p.p_finger
    p_jack_knuckle = p.p_jack_knuckle
    p_jack_stop = p.p_jack_stop
    p_jack_window = p.p_jack_window
    p_key_damper = p.p_key_damper
    p_lever_knuckle = p.p_lever_knuckle
    p_lever_stop = p.p_lever_stop
    p_punching = p.p_punching
    p_rest_cushion = p.p_rest_cushion
    p_string = p.p_string
    p_toe_button = p.p_toe_button
    punching_plane = p.punching_plane
    punching_x = p.punching_x
    screw_r = p.screw_r
    screw_x = p.screw_x
    screw_y = p.screw_y
    spring_ee = p.spring_ee
    spring_er = p.spring_er
    spring_rr = p.spring_rr
    springs_jack = p.springs_jack
    springs_jack_rate = p.springs_jack_rate
    springs_repetition = p.springs_repetition
    springs_repetition_rate = p.springs_repetition_rate
    stop_arm = p.stop_arm
    strike_x = p.strike_x
    strike_y = p.strike_y
    string_y = p.string_y
    surface_length = p.surface_length
    surface_tx = p.surface_tx
    surface_ty = p.surface_ty
    surface_x = p.surface_x
    surface_y = p.surface_y
    tail_r = p.tail_r
    tail_x = p.tail_x
    tail_y = p.tail_y
    toe_r = p.toe_r
    toe_x = p.toe_x
    toe_y = p.toe_y
    top_ax = p.top_ax
    top_ay = p.top_ay
    top_bx = p.top_bx
    top_by = p.top_by
    top_cx = p.top_cx
    top_cy = p.top_cy
    touch_x = p.touch_x
    touch_y = p.touch_y
    turn_e_cushion = p.turn_e_cushion
    turn_e_knuckle = p.turn_e_knuckle
    turn_e_strike = p.turn_e_strike
    turn_e_tail = p.turn_e_tail
    turn_r_cushion = p.turn_r_cushion
    turn_r_knuckle = p.turn_r_knuckle
    turn_r_strike = p.turn_r_strike
    turn_r_tail = p.turn_r_tail
    wippen_mx = p.wippen_mx
    wippen_my = p.wippen_my
    wx = p.wx
    wy = p.wy
    zero = p.zero
    kf = state.kf
    kr = state.kr
    w = state.w
    j = state.j
    l = state.l
    h = state.h
    e = state.e
    r = state.r
    d = state.d
    f = state.f
    v_kf = state.v_kf
    v_kr = state.v_kr
    v_w = state.v_w
    v_j = state.v_j
    v_l = state.v_l
    v_h = state.v_h
    v_e = state.v_e
    v_r = state.v_r
    v_d = state.v_d
    v_f = state.v_f
    ys = state.ys
    s_kf, c_kf = sine_cosine(kf)
    s_kr, c_kr = sine_cosine(kr)
    s_w, c_w = sine_cosine(w)
    s_j, c_j = sine_cosine(j)
    s_l, c_l = sine_cosine(l)
    s_h, c_h = sine_cosine(h)
    Jx = wx + c_w * jx - s_w * jy
    Jy = wy + s_w * jx + c_w * jy
    Lx = wx + c_w * lx - s_w * ly
    Ly = wy + s_w * lx + c_w * ly
    jmx_ = c_j * jack_mx - s_j * jack_my
    jmy_ = s_j * jack_mx + c_j * jack_my
    lmx_ = c_l * lever_mx - s_l * lever_my
    lmy_ = s_l * lever_mx + c_l * lever_my
    D = (Jx - wx) * jmx_ + (Jy - wy) * jmy_
    E = (Lx - wx) * lmx_ + (Ly - wy) * lmy_
    kinetic = 0.5 * (v_kf * v_kf / inv_front + v_kr * v_kr / inv_rear + inertia_w * v_w * v_w)
    kinetic += 0.5 * (v_j * v_j / inv_j + v_l * v_l / inv_l) + D * v_w * v_j + E * v_w * v_l
    kinetic += 0.5 * mass_hh * v_h * v_h
    kinetic += mass_he * v_h * v_e
    kinetic += mass_hr * v_h * v_r
    kinetic += 0.5 * mass_ee * v_e * v_e
    kinetic += mass_er * v_e * v_r
    kinetic += 0.5 * mass_rr * v_r * v_r
    if inv_d > 0.0:
        kinetic += 0.5 * v_d * v_d / inv_d
    potential = -key_front_moment * g * s_kf + 0.5 * key_bending_stiffness * (kr - kf) ** 2 + damper_weight * d
    potential += g * (s_w * wippen_mx + c_w * wippen_my + jmy_ + lmy_)
    potential += springs_jack * (j - w) + 0.5 * springs_jack_rate * (j - w) ** 2
    potential += springs_repetition * (l - w) + 0.5 * springs_repetition_rate * (l - w) ** 2
    potential += g * (s_h * hammer_mx + c_h * hammer_my)
    potential += g * e * (c_h * bend_e_x - s_h * bend_e_y)
    potential += g * r * (c_h * bend_r_x - s_h * bend_r_y)
    potential += 0.5 * spring_ee * e * e
    potential += spring_er * e * r
    potential += 0.5 * spring_rr * r * r
    P_finger_x = c_kf * touch_x - s_kf * touch_y
    P_finger_y = s_kf * touch_x + c_kf * touch_y
    g_finger = f - (P_finger_y - touch_y)
    squeeze[0] = K_finger * max(0.0, -g_finger) ** (p_finger + 1.0) / (p_finger + 1.0)
    P_back_cloth_x = c_kr * cloth_x - s_kr * cloth_y
    P_back_cloth_y = s_kr * cloth_x + c_kr * cloth_y
    g_back_cloth = P_back_cloth_y - cloth_plane - 0
    squeeze[1] = K_back_cloth * max(0.0, -g_back_cloth) ** (p_back_cloth + 1.0) / (p_back_cloth + 1.0)
    P_punching_x = c_kf * punching_x - s_kf * zero
    P_punching_y = s_kf * punching_x + c_kf * zero
    g_punching = P_punching_y - punching_plane - 0
    squeeze[2] = K_punching * max(0.0, -g_punching) ** (p_punching + 1.0) / (p_punching + 1.0)
    P_capstan_x = c_kr * capstan_x - s_kr * capstan_y
    P_capstan_y = s_kr * capstan_x + c_kr * capstan_y
    S_capstan_x = wx + c_w * heel_x - s_w * heel_y
    S_capstan_y = wy + s_w * heel_x + c_w * heel_y
    x_ = c_w * heel_tx - s_w * heel_ty
    y_ = s_w * heel_tx + c_w * heel_ty
    dx_ = P_capstan_x - S_capstan_x
    dy_ = P_capstan_y - S_capstan_y
    n_capstan_x = -y_
    n_capstan_y = x_
    g_capstan = dy_ * x_ - dx_ * y_ - capstan_r
    squeeze[3] = K_capstan * max(0.0, -g_capstan) ** (p_capstan + 1.0) / (p_capstan + 1.0)
    hx_ = knuckle_x - (turn_e_knuckle * e + turn_r_knuckle * r) * knuckle_y
    hy_ = knuckle_y + lift_e_knuckle * e + lift_r_knuckle * r
    P_jack_knuckle_x = hx + c_h * hx_ - s_h * hy_
    P_jack_knuckle_y = hy + s_h * hx_ + c_h * hy_
    A_jack_knuckle_x = Jx + c_j * top_ax - s_j * top_ay
    A_jack_knuckle_y = Jy + s_j * top_ax + c_j * top_ay
    B_jack_knuckle_x = Jx + c_j * top_bx - s_j * top_by
    B_jack_knuckle_y = Jy + s_j * top_bx + c_j * top_by
    C_jack_knuckle_x = Jx + c_j * top_cx - s_j * top_cy
    C_jack_knuckle_y = Jy + s_j * top_cx + c_j * top_cy
    best_ = 1.0e9
    x_ = B_jack_knuckle_x - A_jack_knuckle_x
    y_ = B_jack_knuckle_y - A_jack_knuckle_y
    dx_ = P_jack_knuckle_x - A_jack_knuckle_x
    dy_ = P_jack_knuckle_y - A_jack_knuckle_y
    s_ = (dx_ * x_ + dy_ * y_) / (x_ * x_ + y_ * y_)
    s_ = min(1.0, max(0.0, s_))
    dx_ -= s_ * x_
    dy_ -= s_ * y_
    r_ = dx_ * dx_ + dy_ * dy_
    if r_ < best_:
        best_ = r_
        n_jack_knuckle_x = dx_
        n_jack_knuckle_y = dy_
    x_ = C_jack_knuckle_x - B_jack_knuckle_x
    y_ = C_jack_knuckle_y - B_jack_knuckle_y
    dx_ = P_jack_knuckle_x - B_jack_knuckle_x
    dy_ = P_jack_knuckle_y - B_jack_knuckle_y
    s_ = (dx_ * x_ + dy_ * y_) / (x_ * x_ + y_ * y_)
    s_ = min(1.0, max(0.0, s_))
    dx_ -= s_ * x_
    dy_ -= s_ * y_
    r_ = dx_ * dx_ + dy_ * dy_
    if r_ < best_:
        best_ = r_
        n_jack_knuckle_x = dx_
        n_jack_knuckle_y = dy_
    r_ = math.sqrt(best_)
    n_jack_knuckle_x /= r_
    n_jack_knuckle_y /= r_
    g_jack_knuckle = r_ - knuckle_on_jack_r
    squeeze[4] = K_jack_knuckle * max(0.0, -g_jack_knuckle) ** (p_jack_knuckle + 1.0) / (p_jack_knuckle + 1.0)
    hx_ = knuckle_x - (turn_e_knuckle * e + turn_r_knuckle * r) * knuckle_y
    hy_ = knuckle_y + lift_e_knuckle * e + lift_r_knuckle * r
    P_lever_knuckle_x = hx + c_h * hx_ - s_h * hy_
    P_lever_knuckle_y = hy + s_h * hx_ + c_h * hy_
    S_lever_knuckle_x = Lx + c_l * surface_x - s_l * surface_y
    S_lever_knuckle_y = Ly + s_l * surface_x + c_l * surface_y
    x_ = c_l * surface_tx - s_l * surface_ty
    y_ = s_l * surface_tx + c_l * surface_ty
    dx_ = P_lever_knuckle_x - S_lever_knuckle_x
    dy_ = P_lever_knuckle_y - S_lever_knuckle_y
    n_lever_knuckle_x = -y_
    n_lever_knuckle_y = x_
    g_lever_knuckle = dy_ * x_ - dx_ * y_ - knuckle_r
    s_ = dx_ * x_ + dy_ * y_
    if s_ < 0.0 or s_ > surface_length:
        s_ = 0.0 if s_ < 0.0 else surface_length
        dx_ -= s_ * x_
        dy_ -= s_ * y_
        r_ = math.sqrt(dx_ * dx_ + dy_ * dy_)
        n_lever_knuckle_x = dx_ / r_
        n_lever_knuckle_y = dy_ / r_
        g_lever_knuckle = r_ - knuckle_r
    squeeze[5] = K_lever_knuckle * max(0.0, -g_lever_knuckle) ** (p_lever_knuckle + 1.0) / (p_lever_knuckle + 1.0)
    P_toe_button_x = Jx + c_j * toe_x - s_j * toe_y
    P_toe_button_y = Jy + s_j * toe_x + c_j * toe_y
    g_toe_button = button_plane - P_toe_button_y - toe_r
    squeeze[6] = K_toe_button * max(0.0, -g_toe_button) ** (p_toe_button + 1.0) / (p_toe_button + 1.0)
    P_drop_screw_x = screw_x
    P_drop_screw_y = screw_y
    S_drop_screw_x = Lx + c_l * surface_x - s_l * surface_y
    S_drop_screw_y = Ly + s_l * surface_x + c_l * surface_y
    x_ = c_l * surface_tx - s_l * surface_ty
    y_ = s_l * surface_tx + c_l * surface_ty
    dx_ = P_drop_screw_x - S_drop_screw_x
    dy_ = P_drop_screw_y - S_drop_screw_y
    n_drop_screw_x = -y_
    n_drop_screw_y = x_
    g_drop_screw = dy_ * x_ - dx_ * y_ - screw_r
    s_ = dx_ * x_ + dy_ * y_
    if s_ < 0.0 or s_ > surface_length:
        s_ = 0.0 if s_ < 0.0 else surface_length
        dx_ -= s_ * x_
        dy_ -= s_ * y_
        r_ = math.sqrt(dx_ * dx_ + dy_ * dy_)
        n_drop_screw_x = dx_ / r_
        n_drop_screw_y = dy_ / r_
        g_drop_screw = r_ - screw_r
    squeeze[7] = K_drop_screw * max(0.0, -g_drop_screw) ** (p_drop_screw + 1.0) / (p_drop_screw + 1.0)
    g_jack_stop = stop_arm * ((j - w - jack_stop_turn))
    squeeze[8] = K_jack_stop * max(0.0, -g_jack_stop) ** (p_jack_stop + 1.0) / (p_jack_stop + 1.0)
    g_jack_window = stop_arm * (-(j - w - jack_window_turn))
    squeeze[9] = K_jack_window * max(0.0, -g_jack_window) ** (p_jack_window + 1.0) / (p_jack_window + 1.0)
    g_lever_stop = stop_arm * ((l - w - lever_stop_turn))
    squeeze[10] = K_lever_stop * max(0.0, -g_lever_stop) ** (p_lever_stop + 1.0) / (p_lever_stop + 1.0)
    hx_ = cushion_x - (turn_e_cushion * e + turn_r_cushion * r) * cushion_y
    hy_ = cushion_y + lift_e_cushion * e + lift_r_cushion * r
    P_rest_cushion_x = hx + c_h * hx_ - s_h * hy_
    P_rest_cushion_y = hy + s_h * hx_ + c_h * hy_
    g_rest_cushion = P_rest_cushion_y - cushion_plane - 0
    squeeze[11] = K_rest_cushion * max(0.0, -g_rest_cushion) ** (p_rest_cushion + 1.0) / (p_rest_cushion + 1.0)
    hx_ = tail_x - (turn_e_tail * e + turn_r_tail * r) * tail_y
    hy_ = tail_y + lift_e_tail * e + lift_r_tail * r
    P_backcheck_x = hx + c_h * hx_ - s_h * hy_
    P_backcheck_y = hy + s_h * hx_ + c_h * hy_
    S_backcheck_x = c_kr * check_x - s_kr * check_y
    S_backcheck_y = s_kr * check_x + c_kr * check_y
    x_ = c_kr * check_tx - s_kr * check_ty
    y_ = s_kr * check_tx + c_kr * check_ty
    dx_ = P_backcheck_x - S_backcheck_x
    dy_ = P_backcheck_y - S_backcheck_y
    n_backcheck_x = -y_
    n_backcheck_y = x_
    g_backcheck = dy_ * x_ - dx_ * y_ - tail_r
    s_ = dx_ * x_ + dy_ * y_
    if s_ < 0.0 or s_ > check_length:
        s_ = 0.0 if s_ < 0.0 else check_length
        dx_ -= s_ * x_
        dy_ -= s_ * y_
        r_ = math.sqrt(dx_ * dx_ + dy_ * dy_)
        n_backcheck_x = dx_ / r_
        n_backcheck_y = dy_ / r_
        g_backcheck = r_ - tail_r
    squeeze[12] = K_backcheck * max(0.0, -g_backcheck) ** (p_backcheck + 1.0) / (p_backcheck + 1.0)
    hx_ = strike_x - (turn_e_strike * e + turn_r_strike * r) * strike_y
    hy_ = strike_y + lift_e_strike * e + lift_r_strike * r
    P_string_x = hx + c_h * hx_ - s_h * hy_
    P_string_y = hy + s_h * hx_ + c_h * hy_
    g_string = string_y + ys - P_string_y
    squeeze[13] = K_string * max(0.0, -g_string) ** (p_string + 1.0) / (p_string + 1.0)
    P_key_damper_x = c_kr * damper_x - s_kr * damper_y
    P_key_damper_y = s_kr * damper_x + c_kr * damper_y
    g_key_damper = damper_gap + d - (P_key_damper_y - damper_y)
    squeeze[14] = K_key_damper * max(0.0, -g_key_damper) ** (p_key_damper + 1.0) / (p_key_damper + 1.0)
    g_damper_seat = d
    squeeze[15] = K_damper_seat * max(0.0, -g_damper_seat) ** (p_damper_seat + 1.0) / (p_damper_seat + 1.0)
    return kinetic, potential


@numba.njit(nogil=True, cache=True, error_model="numpy")
def gaps(p, state, gap, normal, sliding):
    """Gap of every contact (m) with its gradient, and the gradient of the sliding speed of those that rub."""
    button_plane = p.button_plane
    capstan_r = p.capstan_r
    capstan_x = p.capstan_x
    capstan_y = p.capstan_y
    check_length = p.check_length
    check_tx = p.check_tx
    check_ty = p.check_ty
    check_x = p.check_x
    check_y = p.check_y
    cloth_plane = p.cloth_plane
    cloth_x = p.cloth_x
    cloth_y = p.cloth_y
    cushion_plane = p.cushion_plane
    cushion_x = p.cushion_x
    cushion_y = p.cushion_y
    damper_gap = p.damper_gap
    damper_x = p.damper_x
    damper_y = p.damper_y
    heel_tx = p.heel_tx
    heel_ty = p.heel_ty
    heel_x = p.heel_x
    heel_y = p.heel_y
    hx = p.hx
    hy = p.hy
    jack_stop_turn = p.jack_stop_turn
    jack_window_turn = p.jack_window_turn
    jx = p.jx
    jy = p.jy
    knuckle_on_jack_r = p.knuckle_on_jack_r
    knuckle_r = p.knuckle_r
    knuckle_x = p.knuckle_x
    knuckle_y = p.knuckle_y
    lever_stop_turn = p.lever_stop_turn
    lift_e_cushion = p.lift_e_cushion
    lift_e_knuckle = p.lift_e_knuckle
    lift_e_strike = p.lift_e_strike
    lift_e_tail = p.lift_e_tail
    lift_r_cushion = p.lift_r_cushion
    lift_r_knuckle = p.lift_r_knuckle
    lift_r_strike = p.lift_r_strike
    lift_r_tail = p.lift_r_tail
    lx = p.lx
    ly = p.ly
    punching_plane = p.punching_plane
    punching_x = p.punching_x
    screw_r = p.screw_r
    screw_x = p.screw_x
    screw_y = p.screw_y
    stop_arm = p.stop_arm
    strike_x = p.strike_x
    strike_y = p.strike_y
    string_y = p.string_y
    surface_length = p.surface_length
    surface_tx = p.surface_tx
    surface_ty = p.surface_ty
    surface_x = p.surface_x
    surface_y = p.surface_y
    tail_r = p.tail_r
    tail_x = p.tail_x
    tail_y = p.tail_y
    toe_r = p.toe_r
    toe_x = p.toe_x
    toe_y = p.toe_y
    top_ax = p.top_ax
    top_ay = p.top_ay
    top_bx = p.top_bx
    top_by = p.top_by
    top_cx = p.top_cx
    top_cy = p.top_cy
    touch_x = p.touch_x
    touch_y = p.touch_y
    turn_e_cushion = p.turn_e_cushion
    turn_e_knuckle = p.turn_e_knuckle
    turn_e_strike = p.turn_e_strike
    turn_e_tail = p.turn_e_tail
    turn_r_cushion = p.turn_r_cushion
    turn_r_knuckle = p.turn_r_knuckle
    turn_r_strike = p.turn_r_strike
    turn_r_tail = p.turn_r_tail
    wx = p.wx
    wy = p.wy
    zero = p.zero
    kf = state.kf
    kr = state.kr
    w = state.w
    j = state.j
    l = state.l
    h = state.h
    e = state.e
    r = state.r
    d = state.d
    f = state.f
    ys = state.ys
    s_kf, c_kf = sine_cosine(kf)
    s_kr, c_kr = sine_cosine(kr)
    s_w, c_w = sine_cosine(w)
    s_j, c_j = sine_cosine(j)
    s_l, c_l = sine_cosine(l)
    s_h, c_h = sine_cosine(h)
    Jx = wx + c_w * jx - s_w * jy
    Jy = wy + s_w * jx + c_w * jy
    Lx = wx + c_w * lx - s_w * ly
    Ly = wy + s_w * lx + c_w * ly
    P_finger_x = c_kf * touch_x - s_kf * touch_y
    P_finger_y = s_kf * touch_x + c_kf * touch_y
    g_finger = f - (P_finger_y - touch_y)
    gap[0] = g_finger
    normal[0, 9] = 1.0
    normal[0, 0] = -P_finger_x
    P_back_cloth_x = c_kr * cloth_x - s_kr * cloth_y
    P_back_cloth_y = s_kr * cloth_x + c_kr * cloth_y
    g_back_cloth = P_back_cloth_y - cloth_plane - 0
    gap[1] = g_back_cloth
    C_back_cloth_x = P_back_cloth_x
    C_back_cloth_y = P_back_cloth_y - 0
    normal[1, 1] = (1.0 * C_back_cloth_x)
    P_punching_x = c_kf * punching_x - s_kf * zero
    P_punching_y = s_kf * punching_x + c_kf * zero
    g_punching = P_punching_y - punching_plane - 0
    gap[2] = g_punching
    C_punching_x = P_punching_x
    C_punching_y = P_punching_y - 0
    normal[2, 0] = (1.0 * C_punching_x)
    P_capstan_x = c_kr * capstan_x - s_kr * capstan_y
    P_capstan_y = s_kr * capstan_x + c_kr * capstan_y
    S_capstan_x = wx + c_w * heel_x - s_w * heel_y
    S_capstan_y = wy + s_w * heel_x + c_w * heel_y
    x_ = c_w * heel_tx - s_w * heel_ty
    y_ = s_w * heel_tx + c_w * heel_ty
    dx_ = P_capstan_x - S_capstan_x
    dy_ = P_capstan_y - S_capstan_y
    n_capstan_x = -y_
    n_capstan_y = x_
    g_capstan = dy_ * x_ - dx_ * y_ - capstan_r
    gap[3] = g_capstan
    C_capstan_x = P_capstan_x - capstan_r * n_capstan_x
    C_capstan_y = P_capstan_y - capstan_r * n_capstan_y
    normal[3, 1] = (n_capstan_y * C_capstan_x -n_capstan_x * C_capstan_y)
    normal[3, 2] = -(n_capstan_y * (C_capstan_x - wx) -n_capstan_x * (C_capstan_y - wy))
    sliding[3, 1] = ((-n_capstan_x) * C_capstan_x -n_capstan_y * C_capstan_y)
    sliding[3, 2] = -((-n_capstan_x) * (C_capstan_x - wx) -n_capstan_y * (C_capstan_y - wy))
    hx_ = knuckle_x - (turn_e_knuckle * e + turn_r_knuckle * r) * knuckle_y
    hy_ = knuckle_y + lift_e_knuckle * e + lift_r_knuckle * r
    P_jack_knuckle_x = hx + c_h * hx_ - s_h * hy_
    P_jack_knuckle_y = hy + s_h * hx_ + c_h * hy_
    A_jack_knuckle_x = Jx + c_j * top_ax - s_j * top_ay
    A_jack_knuckle_y = Jy + s_j * top_ax + c_j * top_ay
    B_jack_knuckle_x = Jx + c_j * top_bx - s_j * top_by
    B_jack_knuckle_y = Jy + s_j * top_bx + c_j * top_by
    C_jack_knuckle_x = Jx + c_j * top_cx - s_j * top_cy
    C_jack_knuckle_y = Jy + s_j * top_cx + c_j * top_cy
    best_ = 1.0e9
    x_ = B_jack_knuckle_x - A_jack_knuckle_x
    y_ = B_jack_knuckle_y - A_jack_knuckle_y
    dx_ = P_jack_knuckle_x - A_jack_knuckle_x
    dy_ = P_jack_knuckle_y - A_jack_knuckle_y
    s_ = (dx_ * x_ + dy_ * y_) / (x_ * x_ + y_ * y_)
    s_ = min(1.0, max(0.0, s_))
    dx_ -= s_ * x_
    dy_ -= s_ * y_
    r_ = dx_ * dx_ + dy_ * dy_
    if r_ < best_:
        best_ = r_
        n_jack_knuckle_x = dx_
        n_jack_knuckle_y = dy_
    x_ = C_jack_knuckle_x - B_jack_knuckle_x
    y_ = C_jack_knuckle_y - B_jack_knuckle_y
    dx_ = P_jack_knuckle_x - B_jack_knuckle_x
    dy_ = P_jack_knuckle_y - B_jack_knuckle_y
    s_ = (dx_ * x_ + dy_ * y_) / (x_ * x_ + y_ * y_)
    s_ = min(1.0, max(0.0, s_))
    dx_ -= s_ * x_
    dy_ -= s_ * y_
    r_ = dx_ * dx_ + dy_ * dy_
    if r_ < best_:
        best_ = r_
        n_jack_knuckle_x = dx_
        n_jack_knuckle_y = dy_
    r_ = math.sqrt(best_)
    n_jack_knuckle_x /= r_
    n_jack_knuckle_y /= r_
    g_jack_knuckle = r_ - knuckle_on_jack_r
    gap[4] = g_jack_knuckle
    C_jack_knuckle_x = P_jack_knuckle_x - knuckle_on_jack_r * n_jack_knuckle_x
    C_jack_knuckle_y = P_jack_knuckle_y - knuckle_on_jack_r * n_jack_knuckle_y
    normal[4, 5] = (n_jack_knuckle_y * (C_jack_knuckle_x - hx) -n_jack_knuckle_x * (C_jack_knuckle_y - hy))
    normal[4, 6] = (n_jack_knuckle_x * (-c_h * turn_e_knuckle * knuckle_y - s_h * lift_e_knuckle - turn_e_knuckle * (C_jack_knuckle_y - P_jack_knuckle_y)) + n_jack_knuckle_y * (-s_h * turn_e_knuckle * knuckle_y + c_h * lift_e_knuckle + turn_e_knuckle * (C_jack_knuckle_x - P_jack_knuckle_x)))
    normal[4, 7] = (n_jack_knuckle_x * (-c_h * turn_r_knuckle * knuckle_y - s_h * lift_r_knuckle - turn_r_knuckle * (C_jack_knuckle_y - P_jack_knuckle_y)) + n_jack_knuckle_y * (-s_h * turn_r_knuckle * knuckle_y + c_h * lift_r_knuckle + turn_r_knuckle * (C_jack_knuckle_x - P_jack_knuckle_x)))
    normal[4, 2] = -(n_jack_knuckle_y * (Jx - wx) - n_jack_knuckle_x * (Jy - wy))
    normal[4, 3] = -(n_jack_knuckle_y * (C_jack_knuckle_x - Jx) -n_jack_knuckle_x * (C_jack_knuckle_y - Jy))
    sliding[4, 5] = ((-n_jack_knuckle_x) * (C_jack_knuckle_x - hx) -n_jack_knuckle_y * (C_jack_knuckle_y - hy))
    sliding[4, 6] = (n_jack_knuckle_y * (-c_h * turn_e_knuckle * knuckle_y - s_h * lift_e_knuckle - turn_e_knuckle * (C_jack_knuckle_y - P_jack_knuckle_y)) + (-n_jack_knuckle_x) * (-s_h * turn_e_knuckle * knuckle_y + c_h * lift_e_knuckle + turn_e_knuckle * (C_jack_knuckle_x - P_jack_knuckle_x)))
    sliding[4, 7] = (n_jack_knuckle_y * (-c_h * turn_r_knuckle * knuckle_y - s_h * lift_r_knuckle - turn_r_knuckle * (C_jack_knuckle_y - P_jack_knuckle_y)) + (-n_jack_knuckle_x) * (-s_h * turn_r_knuckle * knuckle_y + c_h * lift_r_knuckle + turn_r_knuckle * (C_jack_knuckle_x - P_jack_knuckle_x)))
    sliding[4, 2] = -((-n_jack_knuckle_x) * (Jx - wx) - n_jack_knuckle_y * (Jy - wy))
    sliding[4, 3] = -((-n_jack_knuckle_x) * (C_jack_knuckle_x - Jx) -n_jack_knuckle_y * (C_jack_knuckle_y - Jy))
    hx_ = knuckle_x - (turn_e_knuckle * e + turn_r_knuckle * r) * knuckle_y
    hy_ = knuckle_y + lift_e_knuckle * e + lift_r_knuckle * r
    P_lever_knuckle_x = hx + c_h * hx_ - s_h * hy_
    P_lever_knuckle_y = hy + s_h * hx_ + c_h * hy_
    S_lever_knuckle_x = Lx + c_l * surface_x - s_l * surface_y
    S_lever_knuckle_y = Ly + s_l * surface_x + c_l * surface_y
    x_ = c_l * surface_tx - s_l * surface_ty
    y_ = s_l * surface_tx + c_l * surface_ty
    dx_ = P_lever_knuckle_x - S_lever_knuckle_x
    dy_ = P_lever_knuckle_y - S_lever_knuckle_y
    n_lever_knuckle_x = -y_
    n_lever_knuckle_y = x_
    g_lever_knuckle = dy_ * x_ - dx_ * y_ - knuckle_r
    s_ = dx_ * x_ + dy_ * y_
    if s_ < 0.0 or s_ > surface_length:
        s_ = 0.0 if s_ < 0.0 else surface_length
        dx_ -= s_ * x_
        dy_ -= s_ * y_
        r_ = math.sqrt(dx_ * dx_ + dy_ * dy_)
        n_lever_knuckle_x = dx_ / r_
        n_lever_knuckle_y = dy_ / r_
        g_lever_knuckle = r_ - knuckle_r
    gap[5] = g_lever_knuckle
    C_lever_knuckle_x = P_lever_knuckle_x - knuckle_r * n_lever_knuckle_x
    C_lever_knuckle_y = P_lever_knuckle_y - knuckle_r * n_lever_knuckle_y
    normal[5, 5] = (n_lever_knuckle_y * (C_lever_knuckle_x - hx) -n_lever_knuckle_x * (C_lever_knuckle_y - hy))
    normal[5, 6] = (n_lever_knuckle_x * (-c_h * turn_e_knuckle * knuckle_y - s_h * lift_e_knuckle - turn_e_knuckle * (C_lever_knuckle_y - P_lever_knuckle_y)) + n_lever_knuckle_y * (-s_h * turn_e_knuckle * knuckle_y + c_h * lift_e_knuckle + turn_e_knuckle * (C_lever_knuckle_x - P_lever_knuckle_x)))
    normal[5, 7] = (n_lever_knuckle_x * (-c_h * turn_r_knuckle * knuckle_y - s_h * lift_r_knuckle - turn_r_knuckle * (C_lever_knuckle_y - P_lever_knuckle_y)) + n_lever_knuckle_y * (-s_h * turn_r_knuckle * knuckle_y + c_h * lift_r_knuckle + turn_r_knuckle * (C_lever_knuckle_x - P_lever_knuckle_x)))
    normal[5, 2] = -(n_lever_knuckle_y * (Lx - wx) - n_lever_knuckle_x * (Ly - wy))
    normal[5, 4] = -(n_lever_knuckle_y * (C_lever_knuckle_x - Lx) -n_lever_knuckle_x * (C_lever_knuckle_y - Ly))
    sliding[5, 5] = ((-n_lever_knuckle_x) * (C_lever_knuckle_x - hx) -n_lever_knuckle_y * (C_lever_knuckle_y - hy))
    sliding[5, 6] = (n_lever_knuckle_y * (-c_h * turn_e_knuckle * knuckle_y - s_h * lift_e_knuckle - turn_e_knuckle * (C_lever_knuckle_y - P_lever_knuckle_y)) + (-n_lever_knuckle_x) * (-s_h * turn_e_knuckle * knuckle_y + c_h * lift_e_knuckle + turn_e_knuckle * (C_lever_knuckle_x - P_lever_knuckle_x)))
    sliding[5, 7] = (n_lever_knuckle_y * (-c_h * turn_r_knuckle * knuckle_y - s_h * lift_r_knuckle - turn_r_knuckle * (C_lever_knuckle_y - P_lever_knuckle_y)) + (-n_lever_knuckle_x) * (-s_h * turn_r_knuckle * knuckle_y + c_h * lift_r_knuckle + turn_r_knuckle * (C_lever_knuckle_x - P_lever_knuckle_x)))
    sliding[5, 2] = -((-n_lever_knuckle_x) * (Lx - wx) - n_lever_knuckle_y * (Ly - wy))
    sliding[5, 4] = -((-n_lever_knuckle_x) * (C_lever_knuckle_x - Lx) -n_lever_knuckle_y * (C_lever_knuckle_y - Ly))
    P_toe_button_x = Jx + c_j * toe_x - s_j * toe_y
    P_toe_button_y = Jy + s_j * toe_x + c_j * toe_y
    g_toe_button = button_plane - P_toe_button_y - toe_r
    gap[6] = g_toe_button
    C_toe_button_x = P_toe_button_x
    C_toe_button_y = P_toe_button_y + toe_r
    normal[6, 2] = (-1.0 * (Jx - wx))
    normal[6, 3] = (-1.0 * (C_toe_button_x - Jx))
    sliding[6, 2] = (- -1.0 * (Jy - wy))
    sliding[6, 3] = (--1.0 * (C_toe_button_y - Jy))
    P_drop_screw_x = screw_x
    P_drop_screw_y = screw_y
    S_drop_screw_x = Lx + c_l * surface_x - s_l * surface_y
    S_drop_screw_y = Ly + s_l * surface_x + c_l * surface_y
    x_ = c_l * surface_tx - s_l * surface_ty
    y_ = s_l * surface_tx + c_l * surface_ty
    dx_ = P_drop_screw_x - S_drop_screw_x
    dy_ = P_drop_screw_y - S_drop_screw_y
    n_drop_screw_x = -y_
    n_drop_screw_y = x_
    g_drop_screw = dy_ * x_ - dx_ * y_ - screw_r
    s_ = dx_ * x_ + dy_ * y_
    if s_ < 0.0 or s_ > surface_length:
        s_ = 0.0 if s_ < 0.0 else surface_length
        dx_ -= s_ * x_
        dy_ -= s_ * y_
        r_ = math.sqrt(dx_ * dx_ + dy_ * dy_)
        n_drop_screw_x = dx_ / r_
        n_drop_screw_y = dy_ / r_
        g_drop_screw = r_ - screw_r
    gap[7] = g_drop_screw
    C_drop_screw_x = P_drop_screw_x - screw_r * n_drop_screw_x
    C_drop_screw_y = P_drop_screw_y - screw_r * n_drop_screw_y
    normal[7, 2] = -(n_drop_screw_y * (Lx - wx) - n_drop_screw_x * (Ly - wy))
    normal[7, 4] = -(n_drop_screw_y * (C_drop_screw_x - Lx) -n_drop_screw_x * (C_drop_screw_y - Ly))
    sliding[7, 2] = -((-n_drop_screw_x) * (Lx - wx) - n_drop_screw_y * (Ly - wy))
    sliding[7, 4] = -((-n_drop_screw_x) * (C_drop_screw_x - Lx) -n_drop_screw_y * (C_drop_screw_y - Ly))
    g_jack_stop = stop_arm * ((j - w - jack_stop_turn))
    gap[8] = g_jack_stop
    normal[8, 3] = stop_arm
    normal[8, 2] = -stop_arm
    g_jack_window = stop_arm * (-(j - w - jack_window_turn))
    gap[9] = g_jack_window
    normal[9, 3] = -stop_arm
    normal[9, 2] = stop_arm
    g_lever_stop = stop_arm * ((l - w - lever_stop_turn))
    gap[10] = g_lever_stop
    normal[10, 4] = stop_arm
    normal[10, 2] = -stop_arm
    hx_ = cushion_x - (turn_e_cushion * e + turn_r_cushion * r) * cushion_y
    hy_ = cushion_y + lift_e_cushion * e + lift_r_cushion * r
    P_rest_cushion_x = hx + c_h * hx_ - s_h * hy_
    P_rest_cushion_y = hy + s_h * hx_ + c_h * hy_
    g_rest_cushion = P_rest_cushion_y - cushion_plane - 0
    gap[11] = g_rest_cushion
    C_rest_cushion_x = P_rest_cushion_x
    C_rest_cushion_y = P_rest_cushion_y - 0
    normal[11, 5] = (1.0 * (C_rest_cushion_x - hx))
    normal[11, 6] = (1.0 * (-s_h * turn_e_cushion * cushion_y + c_h * lift_e_cushion + turn_e_cushion * (C_rest_cushion_x - P_rest_cushion_x)))
    normal[11, 7] = (1.0 * (-s_h * turn_r_cushion * cushion_y + c_h * lift_r_cushion + turn_r_cushion * (C_rest_cushion_x - P_rest_cushion_x)))
    hx_ = tail_x - (turn_e_tail * e + turn_r_tail * r) * tail_y
    hy_ = tail_y + lift_e_tail * e + lift_r_tail * r
    P_backcheck_x = hx + c_h * hx_ - s_h * hy_
    P_backcheck_y = hy + s_h * hx_ + c_h * hy_
    S_backcheck_x = c_kr * check_x - s_kr * check_y
    S_backcheck_y = s_kr * check_x + c_kr * check_y
    x_ = c_kr * check_tx - s_kr * check_ty
    y_ = s_kr * check_tx + c_kr * check_ty
    dx_ = P_backcheck_x - S_backcheck_x
    dy_ = P_backcheck_y - S_backcheck_y
    n_backcheck_x = -y_
    n_backcheck_y = x_
    g_backcheck = dy_ * x_ - dx_ * y_ - tail_r
    s_ = dx_ * x_ + dy_ * y_
    if s_ < 0.0 or s_ > check_length:
        s_ = 0.0 if s_ < 0.0 else check_length
        dx_ -= s_ * x_
        dy_ -= s_ * y_
        r_ = math.sqrt(dx_ * dx_ + dy_ * dy_)
        n_backcheck_x = dx_ / r_
        n_backcheck_y = dy_ / r_
        g_backcheck = r_ - tail_r
    gap[12] = g_backcheck
    C_backcheck_x = P_backcheck_x - tail_r * n_backcheck_x
    C_backcheck_y = P_backcheck_y - tail_r * n_backcheck_y
    normal[12, 5] = (n_backcheck_y * (C_backcheck_x - hx) -n_backcheck_x * (C_backcheck_y - hy))
    normal[12, 6] = (n_backcheck_x * (-c_h * turn_e_tail * tail_y - s_h * lift_e_tail - turn_e_tail * (C_backcheck_y - P_backcheck_y)) + n_backcheck_y * (-s_h * turn_e_tail * tail_y + c_h * lift_e_tail + turn_e_tail * (C_backcheck_x - P_backcheck_x)))
    normal[12, 7] = (n_backcheck_x * (-c_h * turn_r_tail * tail_y - s_h * lift_r_tail - turn_r_tail * (C_backcheck_y - P_backcheck_y)) + n_backcheck_y * (-s_h * turn_r_tail * tail_y + c_h * lift_r_tail + turn_r_tail * (C_backcheck_x - P_backcheck_x)))
    normal[12, 1] = -(n_backcheck_y * C_backcheck_x -n_backcheck_x * C_backcheck_y)
    sliding[12, 5] = ((-n_backcheck_x) * (C_backcheck_x - hx) -n_backcheck_y * (C_backcheck_y - hy))
    sliding[12, 6] = (n_backcheck_y * (-c_h * turn_e_tail * tail_y - s_h * lift_e_tail - turn_e_tail * (C_backcheck_y - P_backcheck_y)) + (-n_backcheck_x) * (-s_h * turn_e_tail * tail_y + c_h * lift_e_tail + turn_e_tail * (C_backcheck_x - P_backcheck_x)))
    sliding[12, 7] = (n_backcheck_y * (-c_h * turn_r_tail * tail_y - s_h * lift_r_tail - turn_r_tail * (C_backcheck_y - P_backcheck_y)) + (-n_backcheck_x) * (-s_h * turn_r_tail * tail_y + c_h * lift_r_tail + turn_r_tail * (C_backcheck_x - P_backcheck_x)))
    sliding[12, 1] = -((-n_backcheck_x) * C_backcheck_x -n_backcheck_y * C_backcheck_y)
    hx_ = strike_x - (turn_e_strike * e + turn_r_strike * r) * strike_y
    hy_ = strike_y + lift_e_strike * e + lift_r_strike * r
    P_string_x = hx + c_h * hx_ - s_h * hy_
    P_string_y = hy + s_h * hx_ + c_h * hy_
    g_string = string_y + ys - P_string_y
    gap[13] = g_string
    normal[13, 5] = (-1.0 * (P_string_x - hx))
    normal[13, 6] = (-1.0 * (-s_h * turn_e_strike * strike_y + c_h * lift_e_strike + turn_e_strike * (P_string_x - P_string_x)))
    normal[13, 7] = (-1.0 * (-s_h * turn_r_strike * strike_y + c_h * lift_r_strike + turn_r_strike * (P_string_x - P_string_x)))
    P_key_damper_x = c_kr * damper_x - s_kr * damper_y
    P_key_damper_y = s_kr * damper_x + c_kr * damper_y
    g_key_damper = damper_gap + d - (P_key_damper_y - damper_y)
    gap[14] = g_key_damper
    normal[14, 8] = 1.0
    normal[14, 1] = -P_key_damper_x
    g_damper_seat = d
    gap[15] = g_damper_seat
    normal[15, 8] = 1.0
