#include "ground.h"

#include <string.h>

/* The loops are left to the compiler to do on many places at once, which plain
 * -O2 does not. */
#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC optimize("O3")
#endif

enum { BITS = 6, ONE = 1 << BITS }; /* fractions of a pixel in 1/64 */

/* So many columns are looked up row by row: where rows run across the plane's, a row meets
 * what the one before it brought into the cache. */
enum { TILE = 32 };

/* held is v between 0 and most, 0 when it is not a number. */
static inline float held(float v, float most)
{
	v = v > 0 ? v : 0;
	return v > most ? most : v;
}

/* where fills in 1/64 pixel where places first to last of row y lie, counted from column
 * start, held inside the plane so that a neighbour to the right and below is in it, too. */
static void where(const double *m, int y, int start, int first, int last, int w, int h, int *restrict at_x, int *restrict at_y)
{
	float u = m[0] * start + m[1] * y + m[2], v = m[3] * start + m[4] * y + m[5];
	float k = m[6] * start + m[7] * y + m[8];
	float du = m[0], dv = m[3], dk = m[6];
	float right = (w - 1) * ONE - 1, bottom = (h - 1) * ONE - 1;

	for (int i = first; i < last; i++) {
		float near = 1 / (k + i * dk);
		at_x[i - first] = held((u + i * du) * near, right);
		at_y[i - first] = held((v + i * dv) * near, bottom);
	}
}

/* between is what lies among four pixels, given the weight of each. */
static inline unsigned between(const unsigned char *p, int w, const unsigned *weight)
{
	unsigned sum = weight[0] * p[0] + weight[1] * p[1] + weight[2] * p[w] + weight[3] * p[w + 1];
	return (sum + (1 << (2 * BITS - 1))) >> (2 * BITS);
}

/* look_up_tile looks up the places of some columns in as many planes as there are. */
static inline void look_up_tile(const unsigned char *p, const unsigned char *q, const unsigned char *r,
	int w, int h, const double *m, const int *seen, int left, int right, int width, int height,
	unsigned char *p_out, unsigned char *q_out, unsigned char *r_out)
{
	int at_x[TILE], at_y[TILE];

	for (int y = 0; y < height; y++) {
		int from = seen[2 * y], to = seen[2 * y + 1];
		int first = left > from ? left : from, last = right < to ? right : to;
		size_t start = (size_t)y * width + first;
		where(m, y, from, first - from, last - from, w, h, at_x, at_y);
		for (int i = 0; i < last - first; i++) {
			size_t at = (size_t)(at_y[i] >> BITS) * w + (at_x[i] >> BITS);
			unsigned fx = at_x[i] % ONE, fy = at_y[i] % ONE;
			unsigned weight[4] = {(ONE - fx) * (ONE - fy), fx * (ONE - fy), (ONE - fx) * fy, fx * fy};
			p_out[start + i] = between(p + at, w, weight);
			if (q)
				q_out[start + i] = between(q + at, w, weight);
			if (r)
				r_out[start + i] = between(r + at, w, weight);
		}
	}
}

void look_up(const unsigned char *p, const unsigned char *q, const unsigned char *r,
	int w, int h, const double *m, const int *seen, int width, int height,
	unsigned char *p_out, unsigned char *q_out, unsigned char *r_out)
{
	for (int left = 0; left < width; left += TILE) {
		int right = left + TILE < width ? left + TILE : width;
		if (r)
			look_up_tile(p, q, r, w, h, m, seen, left, right, width, height, p_out, q_out, r_out);
		else if (q)
			look_up_tile(p, q, NULL, w, h, m, seen, left, right, width, height, p_out, q_out, NULL);
		else
			look_up_tile(p, NULL, NULL, w, h, m, seen, left, right, width, height, p_out, NULL, NULL);
	}
}

/* to_ratios turns chroma into shares of luma. */
static void to_ratios(unsigned char *restrict chroma, const short *restrict inverse, int n)
{
	for (int i = 0; i < n; i++) {
		short from = chroma[i] - 128;
		int v = 128 + (from * inverse[i] >> 8);
		chroma[i] = v < 0 ? 0 : v > 255 ? 255 : v;
	}
}

void features(unsigned char *luma, unsigned char *cb, unsigned char *cr, size_t n,
	const unsigned char *bright, const int *inverse)
{
	enum { PART = 512 };
	short by[PART];

	for (size_t start = 0; start < n; start += PART) {
		int part = n - start < PART ? n - start : PART;
		for (int i = 0; i < part; i++) {
			unsigned char *l = luma + start + i;
			by[i] = inverse[*l];
			*l = bright[*l];
		}
		to_ratios(cb + start, by, part);
		to_ratios(cr + start, by, part);
	}
}

/* add_row adds a row's values, and how many count, to the columns' sums. */
static void add_row(const unsigned char *restrict v, const unsigned char *restrict kind, int n,
	unsigned *restrict sum, unsigned *restrict count)
{
	for (int i = 0; i < n; i++) {
		unsigned counts = (kind[i] & (PLACE_OUTSIDE | PLACE_CARD)) == 0;
		sum[i] += counts * v[i];
		count[i] += counts;
	}
}

void average_cells(const unsigned char *feature, const unsigned char *kind, int width, int height, int side,
	unsigned *spare, unsigned char *cell, unsigned char *filled)
{
	unsigned *sum = spare, *count = spare + width;

	for (int top = 0; top < height; top += side) {
		memset(spare, 0, 2 * width * sizeof *spare);
		for (int y = top; y < top + side && y < height; y++)
			add_row(feature + (size_t)y * width, kind + (size_t)y * width, width, sum, count);
		for (int left = 0; left < width; left += side, cell++, filled++) {
			unsigned s = 0, n = 0;
			for (int x = left; x < left + side && x < width; x++) {
				s += sum[x];
				n += count[x];
			}
			if ((*filled = n > 0))
				*cell = (s + n / 2) / n;
		}
	}
}

/* So many medians are found at once. */
enum { LANES = 16, MARGIN = 8 };
typedef unsigned char lanes __attribute__((vector_size(LANES)));

/* half_row is room for every second pixel of a row with its margins. */
static size_t half_row(int w) { return (w + 2 * MARGIN) / 2 + 2 * LANES; }

size_t median_spare(int w, int h) { return 2 * half_row(w) * (h + 2 * MARGIN); }

/* split copies a row with its margins so that its even pixels stand first. */
static void split(const unsigned char *row, int w, unsigned char *out, int half)
{
	for (int i = 0; i < w + 2 * MARGIN; i++) {
		int x = i - MARGIN;
		out[i % 2 * half + i / 2] = row[x < 0 ? 0 : x < w ? x : w - 1];
	}
}

/* reaching takes one off each lane whose pixel reaches the trial value, for n pixels
 * that lie side by side. */
static inline lanes reaching(lanes left, const unsigned char *at, int n, lanes trial)
{
	for (int i = 0; i < n; i++) {
		lanes v;
		memcpy(&v, at + i, sizeof v);
		left += (lanes)(v >= trial);
	}
	return left;
}

void medians(const unsigned char *plane, int w, int h, int window, unsigned char *spare, unsigned char *out)
{
	const int reach = window / 2, half = half_row(w), columns = (w + 1) / 2;
	const unsigned char rank = window * window / 2; /* so many are larger at most */
	/* Of a row's window, where its odd and its even pixels begin and how many there are. */
	const int first = MARGIN - reach, odd = first / 2, even = (first + 1) / 2;
	const int odds = reach + first % 2, evens = window - odds;

	memset(spare, 0, median_spare(w, h));
	for (int i = 0; i < h + 2 * MARGIN; i++) {
		int y = i - MARGIN;
		y = y < 0 ? 0 : y < h ? y : h - 1;
		split(plane + (size_t)y * w, w, spare + (size_t)i * 2 * half, half);
	}
	for (int y = 0; y < h; y += 2, out += columns)
		for (int x = 0; x < columns; x += LANES) {
			lanes median = {0};
			for (int bit = 128; bit; bit >>= 1) { /* the largest value that over rank pixels reach */
				lanes trial = median | (unsigned char)bit, left = {0};
				for (int dy = -reach; dy <= reach; dy++) {
					const unsigned char *row = spare + (size_t)(y + dy + MARGIN) * 2 * half + x;
					left = reaching(left, row + even, evens, trial);
					left = reaching(left, row + half + odd, odds, trial);
				}
				lanes enough = (lanes)(-left > rank);
				median = (trial & enough) | (median & ~enough);
			}
			int n = columns - x < LANES ? columns - x : LANES;
			memcpy(out + x, &median, n);
		}
}

/* grid is a place among medians, which lie two cells of side places apart: the one
 * before it, and how far it is to the next in 1/256. */
struct grid { unsigned short before, to_next; };

static struct grid grid(int place, int side, int medians)
{
	int at = 64 * (2 * place + 1) / side - 64, last = 256 * (medians - 1);
	at = at < 0 ? 0 : at > last ? last : at;
	return (struct grid){at / 256, at % 256};
}

/* stretch interpolates a row of medians to places, in 1/256. */
static void stretch(const unsigned char *median, int columns, const struct grid *across, int width, unsigned short *out)
{
	for (int x = 0; x < width; x++) {
		int i = across[x].before, f = across[x].to_next;
		int next = i + 1 < columns ? i + 1 : i;
		out[x] = (256 - f) * median[i] + f * median[next];
	}
}

static void subtract_row(const unsigned char *restrict feature, const unsigned short *restrict a,
	const unsigned short *restrict b, unsigned short f, int n, short *restrict diff)
{
	unsigned short g = 256 - f;

	for (int i = 0; i < n; i++)
		diff[i] = feature[i] - (short)(((unsigned)g * a[i] + (unsigned)f * b[i] + (1 << 15)) >> 16);
}

void subtract(const unsigned char *feature, int width, int height, int side,
	const unsigned char *median, int columns, int rows, unsigned short *spare, short *diff)
{
	unsigned short *above = spare, *below = spare + width;
	struct grid *across = (struct grid *)(spare + 2 * width);
	int last = -1;

	for (int x = 0; x < width; x++)
		across[x] = grid(x, side, columns);
	for (int y = 0; y < height; y++) {
		struct grid down = grid(y, side, rows);
		if (down.before != last) {
			int i = down.before, next = i + 1 < rows ? i + 1 : i;
			stretch(median + (size_t)i * columns, columns, across, width, above);
			stretch(median + (size_t)next * columns, columns, across, width, below);
			last = i;
		}
		subtract_row(feature + (size_t)y * width, above, below, down.to_next, width, diff + (size_t)y * width);
	}
}

void stand_out(const short *a, const short *b, const short *c, const unsigned char *kind, size_t n,
	const float *scale, float least, unsigned char *mask)
{
	float s = scale[0], t = scale[1], u = scale[2];

	for (size_t i = 0; i < n; i++) {
		float x = a[i] * s, y = b[i] * t, z = c[i] * u;
		mask[i] = -((x * x + y * y + z * z > least) & (kind[i] == 0));
	}
}

void resemble(const unsigned char *a, const unsigned char *b, const unsigned char *c, const unsigned char *kind, size_t n,
	const float *scale, const float *from, float most, unsigned char *mask)
{
	float s = scale[0], t = scale[1], u = scale[2], p = from[0], q = from[1], r = from[2];

	for (size_t i = 0; i < n; i++) {
		float x = a[i] * s - p, y = b[i] * t - q, z = c[i] * u - r;
		mask[i] = -((x * x + y * y + z * z < most) & (kind[i] == 0));
	}
}
