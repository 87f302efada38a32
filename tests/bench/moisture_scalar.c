/* The arithmetic of model/wood/kernel.py in plain scalar C, one member after another: what a careful person
 * would write without thinking of vectors. Built and called by bench_kernel.py:
 *     gcc -O3 -march=native -shared -fPIC -o moisture_scalar.so moisture_scalar.c -lm -lpthread
 */
#include <math.h>
#include <pthread.h>
#include <stddef.h>

#define CELLS 16
#define LAST (CELLS - 1)

typedef struct {
    double widths[CELLS], holds[CELLS], per_distance[LAST], near[LAST], far[LAST];
    double face_layer, room, face_later;
    double saturated, fullest, lowest_humidity, at_rest, typical_slope, opening[3];
    double middle_exponent, e_middle;
    int newton_rounds, settling_rounds;
} Constants;

typedef struct {
    double h, saturation, scale, k, k1, k12, settled;
} Air;

typedef struct {
    double factor, rise;
} Wood;

typedef struct {
    double dry, per_pct, inverse_square, supply_face, supply_back;
    long face_air, back_air, pair, parts;
} Member;

typedef struct {
    double flux, tangent, chord, passes;
} Face;

static inline double exponential(const Constants *c, double x)
{
    double r = x * (1.0 / 16.0) - c->middle_exponent;
    double p = (1.0 / 5040.0) * r + 1.0 / 720.0;
    p = p * r + 1.0 / 120.0;
    p = p * r + 1.0 / 24.0;
    p = p * r + 1.0 / 6.0;
    p = p * r + 0.5;
    p = p * r + 1.0;
    p = p * r + 1.0;
    p = p * c->e_middle;
    p = p * p;
    p = p * p;
    p = p * p;
    return p * p;
}

static inline double lower(double a, double b) { return a < b ? a : b; }
static inline double upper(double a, double b) { return a > b ? a : b; }

static inline double diffusion(const Constants *c, const Member *m, double factor, double rise, double mc)
{
    double held = lower(upper(mc, 0.0), c->saturated);
    double share = lower(m->dry + m->per_pct * held, c->fullest);
    return factor * exponential(c, rise * held) * (sqrt(1.0 - share) + 1.0) / (share * share);
}

static inline Face surface(const Constants *c, const Member *m, const Air *a, double supply, double factor,
                           double rise, double mc, double d_near)
{
    double g = d_near * c->face_layer;
    double n = mc / a->scale;
    double x = n * (n + c->opening[0]) / ((n + c->opening[1]) * n + c->opening[2]);
    double by_slope = g * c->typical_slope;
    double h = (supply * a->h + by_slope * (x / a->k)) / (supply + by_slope);
    h = lower(upper(h, c->lowest_humidity), 1.0);
    double slope = 1.0;
    for (int round = 0; round < c->newton_rounds; round++) {
        double y = a->k * h;
        double free_ = 1.0 / (1.0 - y);
        double below = 1.0 / ((a->k12 * y + a->k1) * y + 1.0);
        double here = a->scale * (y * free_ + (2.0 * a->k12 * y + a->k1) * y * below);
        slope = a->scale * a->k
                * (free_ * free_ + (a->k1 + (a->k12 * 4.0 + a->k1 * a->k12 * y) * y) * (below * below));
        double next = h + (supply * (a->h - h) - g * (here - mc)) / (supply + g * slope);
        next = lower(upper(next, c->lowest_humidity), 1.0);
        if (round < c->settling_rounds)
            g = diffusion(c, m, factor, rise, (here + slope * (next - h) + mc) * 0.5) * c->face_layer;
        h = next;
    }
    Face f;
    f.flux = supply * (a->h - h);
    f.tangent = h < 1.0 ? -(supply * g / (supply + g * slope)) : 0.0;
    double away = mc - a->settled;
    f.chord = away * away < c->at_rest ? 0.0 : f.flux / away;
    f.passes = -f.tangent / g;
    return f;
}

static void one_member(const Constants *c, const Member *m, const Air *air, const Wood *wood, long steps,
                       long airs, long pairs, double step_s, long every, double *held, double *means)
{
    double half[CELLS], c_whole[CELLS], r_whole[CELLS], c_half[CELLS], r_half[CELLS], r_then[CELLS];
    double rate = m->parts / step_s;
    double room = c->room * rate, later = c->face_later * rate;
    for (long step = 0; step < steps; step++) {
        const Air *a1 = air + step * airs + m->face_air, *a2 = air + step * airs + m->back_air;
        const Wood *w = wood + step * pairs + m->pair;
        double factor = w->factor * m->inverse_square, rise = w->rise;
        double q1 = a1->saturation * m->supply_face, q2 = a2->saturation * m->supply_back;
        for (long part = 0; part < m->parts; part++) {
            double d = diffusion(c, m, factor, rise, 0.5 * (held[0] + held[1]));
            Face f = surface(c, m, a1, q1, factor, rise, held[0], d);
            double came = f.flux;
            double before_whole = -(lower(f.tangent, f.chord + room) + f.passes * later);
            double before_half = -(lower(f.tangent, f.chord + 2.0 * room) + f.passes * (2.0 * later));
            double below_whole = 0.0, below_half = 0.0, carry_whole = 0.0, carry_half = 0.0;
            for (int i = 0; i < LAST; i++) {
                d = diffusion(c, m, factor, rise, 0.5 * (held[i] + held[i + 1]));
                double onward = d * c->per_distance[i];
                double crossing = onward * (held[i + 1] - held[i]);
                double source = came + crossing;
                double holds = c->holds[i] * rate, near = c->near[i] * rate, far = c->far[i] * rate;
                double pivot = 1.0 / (before_whole + onward + holds);
                double share = (onward - far) * pivot;
                carry_whole = (source + below_whole * carry_whole) * pivot;
                c_whole[i] = share;
                r_whole[i] = carry_whole;
                below_whole = onward + near;
                before_whole = onward - below_whole * share;
                pivot = 1.0 / (before_half + onward + 2.0 * holds);
                share = (onward - 2.0 * far) * pivot;
                carry_half = (source + below_half * carry_half) * pivot;
                c_half[i] = share;
                r_half[i] = carry_half;
                below_half = onward + 2.0 * near;
                before_half = onward - below_half * share;
                came = -crossing;
            }
            Face b = surface(c, m, a2, q2, factor, rise, held[LAST], d);
            double holds = c->holds[LAST] * rate;
            double f2 = lower(b.tangent, b.chord + room) + b.passes * later;
            double f2_half = lower(b.tangent, b.chord + 2.0 * room) + b.passes * (2.0 * later);
            double source = came + b.flux;
            double up_whole = (source + below_whole * carry_whole) / (before_whole - f2 + holds);
            double up_half = (source + below_half * carry_half) / (before_half - f2_half + 2.0 * holds);
            r_whole[LAST] = up_whole;
            r_half[LAST] = up_half;
            half[LAST] = held[LAST] + up_half;
            for (int i = LAST - 1; i >= 0; i--) {
                up_whole = r_whole[i] + c_whole[i] * up_whole;
                up_half = r_half[i] + c_half[i] * up_half;
                r_whole[i] = up_whole;
                r_half[i] = up_half;
                half[i] = held[i] + up_half;
            }
            d = diffusion(c, m, factor, rise, 0.5 * (half[0] + half[1]));
            f = surface(c, m, a1, q1, factor, rise, half[0], d);
            came = f.flux;
            before_half = -(lower(f.tangent, f.chord + 2.0 * room) + f.passes * (2.0 * later));
            below_half = 0.0;
            carry_half = 0.0;
            for (int i = 0; i < LAST; i++) {
                d = diffusion(c, m, factor, rise, 0.5 * (half[i] + half[i + 1]));
                double onward = d * c->per_distance[i];
                double crossing = onward * (half[i + 1] - half[i]);
                double near = 2.0 * rate * c->near[i], far = 2.0 * rate * c->far[i];
                double pivot = 1.0 / (before_half + onward + 2.0 * rate * c->holds[i]);
                double share = (onward - far) * pivot;
                carry_half = (came + crossing + below_half * carry_half) * pivot;
                c_half[i] = share;
                r_then[i] = carry_half;
                below_half = onward + near;
                before_half = onward - below_half * share;
                came = -crossing;
            }
            b = surface(c, m, a2, q2, factor, rise, half[LAST], d);
            f2 = lower(b.tangent, b.chord + 2.0 * room) + b.passes * (2.0 * later);
            up_half = (came + b.flux + below_half * carry_half)
                      / (before_half - f2 + 2.0 * rate * c->holds[LAST]);
            held[LAST] += 2.0 * (r_half[LAST] + up_half) - r_whole[LAST];
            for (int i = LAST - 1; i >= 0; i--) {
                up_half = r_then[i] + c_half[i] * up_half;
                held[i] += 2.0 * (r_half[i] + up_half) - r_whole[i];
            }
        }
        if ((step + 1) % every == 0) {
            double mean = 0.0;
            for (int i = 0; i < CELLS; i++)
                mean += held[i] * c->widths[i];
            means[(step + 1) / every - 1] = mean;
        }
    }
}

typedef struct {
    const Constants *c;
    const Member *members;
    const Air *air;
    const Wood *wood;
    long steps, airs, pairs, every, first, last;
    double step_s, *held, *means;
} Share;

static void *some_members(void *given)
{
    Share *s = given;
    for (long i = s->first; i < s->last; i++)
        one_member(s->c, s->members + i, s->air, s->wood, s->steps, s->airs, s->pairs, s->step_s, s->every,
                   s->held + i * CELLS, s->means + i * (s->steps / s->every));
    return NULL;
}

void advance(const Constants *c, const Member *members, long n, const Air *air, const Wood *wood, long steps,
             long airs, long pairs, double step_s, long every, int threads, double *held, double *means)
{
    pthread_t running[64];
    Share shares[64];
    for (int t = 0; t < threads; t++) {
        shares[t] = (Share){c, members, air, wood, steps, airs, pairs, every,
                            n * t / threads, n * (t + 1) / threads, step_s, held, means};
        pthread_create(&running[t], NULL, some_members, &shares[t]);
    }
    for (int t = 0; t < threads; t++)
        pthread_join(running[t], NULL);
}
