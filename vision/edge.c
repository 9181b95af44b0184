#include "edge.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

#include "lanes.h"

/* The loops are left to the compiler to do on many places at once, which plain
 * -O2 does not, nor with branches: so there are none. */
#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC optimize("O3,no-trapping-math")
#endif

static inline double from_bits(uint64_t u)
{
	double x;
	memcpy(&x, &u, sizeof x);
	return x;
}

static inline uint64_t to_bits(double x)
{
	uint64_t u;
	memcpy(&u, &x, sizeof u);
	return u;
}

/* Added to a number of less than 2^51, WHOLE leaves its nearest integer in the low bits. */
static const double WHOLE = 0x1.8p52;

/* power is e to the x, 0 far below; x is under 700. The polynomials here are summed up
 * by twos and fours, so that no term waits for all before it. */
static inline double power(double x)
{
	x = x > -700 ? x : -700;
	double shifted = x * 0x1.71547652b82fep0 + WHOLE, k = shifted - WHOLE;
	double r = x - k * 0x1.62e42fefa3800p-1 - k * 0x1.ef35793c76730p-45; /* |r| is under 0.35 */
	double r2 = r * r, r4 = r2 * r2;
	double first = 1 + r + r2 * (1.0 / 2 + 1.0 / 6 * r);
	double then = 1.0 / 24 + 1.0 / 120 * r + r2 * (1.0 / 720 + 1.0 / 5040 * r);
	double last = 1.0 / 40320 + 1.0 / 362880 * r + r2 * (1.0 / 3628800 + 1.0 / 39916800 * r);
	return (first + r4 * (then + r4 * last)) * from_bits((to_bits(shifted) << 52) + (1023ULL << 52));
}

/* logarithm is the natural one of a normal positive number. */
static inline double logarithm(double x)
{
	uint64_t u = to_bits(x) - 0x3fe6a09e667f3bcdULL; /* the bits of the root of a half */
	double m = from_bits((u & 0xfffffffffffffULL) + 0x3fe6a09e667f3bcdULL);
	/* The exponent, which may be negative, as a number. */
	double k = from_bits((((u >> 52) ^ 0x800) & 0xfff) | 0x4330000000000000ULL) - (0x1p52 + 0x800);
	double s = (m - 1) / (m + 1), q = s * s, q2 = q * q; /* |s| is under 0.172 */
	double first = 1 + 1.0 / 3 * q + q2 * (1.0 / 5 + 1.0 / 7 * q);
	double then = 1.0 / 9 + 1.0 / 11 * q + q2 * (1.0 / 13 + 1.0 / 15 * q + q2 * (1.0 / 17));
	return 2 * s * (first + q2 * q2 * then) + k * 0x1.62e42fefa39efp-1;
}

/* density is the normal distribution's at u, and below what lies below u, to 1e-12 of
 * it: its tail over the density times 1 + u / 5 as a polynomial of (5 - u) / (5 + u),
 * fitted to erfcx of SciPy 1.10. */
static inline double density(double u) { return 0x1.9884533d43651p-2 * power(-u * u / 2); }

static inline double below(double u, double density)
{
	double far = u < 0 ? -u : u, near = 5 / (5 + far), t = 2 * near - 1, t2 = t * t, t4 = t2 * t2;
	double a = 0.15383860995002246 + 0.13307650057805426 * t + t2 * (0.099061123194422035 + 0.062706631331764018 * t);
	double b = 0.033004073219591361 + 0.013823727785128394 * t + t2 * (0.0041590135475240483 + 0.00059867499983054311 * t);
	double c = -0.00015957510715547356 - 0.00010897824415087264 * t + t2 * (-1.1870524868159934e-05 + 9.9484037650755531e-06 * t);
	double d = 3.3255957597475794e-06 - 7.892885765120642e-07 * t + t2 * (-5.3852601998548435e-07 + 6.0083704286154539e-08 * t);
	double e = 7.3092794480300463e-08 - 3.6896588105053512e-09 * t + t2 * (-6.4019123686393655e-09);
	double tail = 0x1.40d931ff62706p1 * density * near * (a + t4 * (b + t4 * (c + t4 * (d + t4 * e))));
	return u < 0 ? tail : 1 - tail;
}

struct rates { double seen, tone, bend, light; };

/* display is the tone curve at linear light l with its derivatives, see tone.go. */
static inline struct rates display(const struct edge *e, double steep, double l)
{
	const double low = 0.0031308;
	double inside = l < low ? low : l > 1 ? 1 : l;
	double g = 1.055 * power(logarithm(inside) / 2.4) - 0.055, slope = (g + 0.055) / (2.4 * inside);
	g = l <= low ? 12.92 * l : l > 1 ? 1 + (l - 1) * 1.055 / 2.4 : g;
	slope = l <= low ? 12.92 : l > 1 ? 1.055 / 2.4 : slope;

	double h, bend, light;
	if (e->bend < 0) {
		h = g + e->bend * (g - l);
		bend = g - l;
		light = slope + e->bend * (slope - 1);
	} else {
		double w = 1 / (1 + (steep - 1) * g);
		h = g < 0 ? steep * g : g > 1 ? 1 + (g - 1) / steep : steep * g * w;
		bend = g < 0 ? h : g > 1 ? (1 - g) / steep : h * (1 - h);
		light = slope * (g < 0 ? steep : g > 1 ? 1 / steep : steep * w * w);
	}
	int curved = h >= 0 && h <= 1;
	double tone = curved ? 4 * h * (1 - h) * (h - 0.5) : 0;
	double by = curved ? 1 + e->tone * (12 * h * (1 - h) - 2) : 1;
	return (struct rates){h + e->tone * tone, tone, bend * by, light * by};
}

/* So many places are worked out at once. */
enum { PART = 64 };

/* shares fills the film's share of the light and the metal's from place first on, 0 in the
 * middle, and those of the table's rows that do not depend on colours. */
WIDE static void shares(const struct edge *e, int first, double step, int n, double *restrict film, double *restrict metal,
	double *restrict widened, double *restrict shade, double *restrict shade_blur, double *restrict shade_reach)
{
	const double blur = e->blur, reach = e->reach;

	for (int i = 0; i < n; i++) {
		double u = (first + i) * step / blur, d = density(u);
		film[i] = below(u, d);
		metal[i] = 1 - film[i];
		widened[i] = -u / blur * d;
		shade[i] = shade_blur[i] = shade_reach[i] = 0;
	}
	if (reach == 0)
		return;
	if (e->ambient) {
		double s = blur / reach;
		for (int i = 0; i < n; i++) {
			double u = (first + i) * step / blur, d = density(u + s), tail = below(-u - s, d);
			double grown = power(s * u + s * s / 2);
			shade[i] = grown * tail;
			shade_blur[i] = grown / reach * (s * tail + (u / s - 1) * d);
			shade_reach[i] = grown / reach * (s * d - (s * u + s * s) * tail);
		}
	} else {
		double outer = sqrt(blur * blur + e->penumbra * reach * e->penumbra * reach);
		for (int i = 0; i < n; i++) {
			double z = ((first + i) * step + reach) / outer, d = density(z);
			shade[i] = below(z, d) - film[i];
			d /= outer;
			shade_blur[i] = -widened[i] - z * d * blur / outer;
			shade_reach[i] = d * (1 - z * e->penumbra * e->penumbra * reach / outer);
		}
	}
	for (int i = 0; i < n; i++)
		metal[i] -= e->depth * shade[i];
}

/* add_channel adds what a channel shows of the shares. */
WIDE static void add_channel(const struct edge *e, double steep, const struct channel *c, int n,
	const double *restrict film, const double *restrict metal, double *restrict seen,
	double *restrict tone, double *restrict bend, double *restrict by_film, double *restrict by_metal)
{
	for (int i = 0; i < n; i++) {
		struct rates d = display(e, steep, film[i] * c->film + metal[i] * c->metal);
		seen[i] += c->weight * d.seen;
		tone[i] += c->weight * (d.tone + d.light * (film[i] * c->film_tone + metal[i] * c->metal_tone));
		bend[i] += c->weight * (d.bend + d.light * (film[i] * c->film_bend + metal[i] * c->metal_bend));
		by_film[i] += c->weight * d.light * c->film;
		by_metal[i] += c->weight * d.light * c->metal;
	}
}

void tabulate_edge(const struct edge *edge, const struct channel *channels, int count, int n, double step, double *table)
{
	const int places = 2 * n + 1;
	const double steep = power(edge->bend), scale = 1 / edge->gain;
	double film[PART], metal[PART], *row[EDGE_ROWS];

	memset(table, 0, EDGE_WIDENED * places * sizeof *table);
	for (int start = 0; start < places; start += PART) {
		int part = places - start < PART ? places - start : PART;
		for (int k = 0; k < EDGE_ROWS; k++)
			row[k] = table + k * places + start;
		shares(edge, start - n, step, part, film, metal, row[EDGE_WIDENED], row[EDGE_SHADE], row[EDGE_SHADE_BLUR], row[EDGE_SHADE_REACH]);
		for (int k = 0; k < count; k++)
			add_channel(edge, steep, channels + k, part, film, metal,
				row[EDGE_SEEN], row[EDGE_TONE], row[EDGE_BEND], row[EDGE_FILM], row[EDGE_METAL]);
		for (int i = 0; i < part; i++) {
			double u = (start - n + i) * step / edge->blur;
			int metal_only = u < -edge->end && edge->depth == 0, film_only = u > edge->end;
			row[EDGE_SEEN][i] = film_only ? 1 : metal_only ? 0 : (row[EDGE_SEEN][i] - edge->zero) * scale;
			for (int k = EDGE_TONE; k <= EDGE_FILM; k++)
				row[k][i] = metal_only || film_only ? 0 : row[k][i] * scale;
			row[EDGE_METAL][i] = film_only ? 0 : (metal_only ? edge->bare : row[EDGE_METAL][i]) * scale;
		}
	}
}

WIDE void weigh(const double *v, const double *weights, int reach, int stride, int n, double *out)
{
	memset(out, 0, n * sizeof *out);
	for (int k = 0; k <= 2 * (reach / stride); k++, v += stride)
		for (int i = 0; i < n; i++)
			out[i] += weights[k] * v[i];
}
