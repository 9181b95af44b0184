/* The table of an edge's luma. Used by edge.go only, which checks sizes. */
#ifndef STRIPGAP_EDGE_H
#define STRIPGAP_EDGE_H

/* What makes an edge: a Gaussian blur in px, the tone curve's strength and bend, and
 * the film's shadow, see filmShadow; without one its reach is 0. What is seen is zero on
 * the metal and one more gain on the film; beyond end blurs all is metal or film. */
struct edge {
	double blur, tone, bend;
	int ambient; /* the shadow is an ambient one */
	double depth, reach, penumbra;
	double zero, gain, end;
	double bare; /* derivative of what is seen by the metal's light, far from the film */
};

/* A channel: its weight in what is seen, the film's and the metal's light in it, and
 * their derivatives by the tone curve's strength and by its bend. */
struct channel { double weight, film, metal, film_tone, metal_tone, film_bend, metal_bend; };

/* The rows of an edge's table: what is seen; its derivatives by the tone curve's
 * strength, by its bend, by the share of the film's light and by that of the metal's;
 * that of the film's share by the blur; and of a shadow of depth 1 the share and its
 * derivatives by blur and reach. */
enum { EDGE_SEEN, EDGE_TONE, EDGE_BEND, EDGE_FILM, EDGE_METAL, EDGE_WIDENED,
	EDGE_SHADE, EDGE_SHADE_BLUR, EDGE_SHADE_REACH, EDGE_ROWS };

/* Fill a table of rows of 2 n + 1 places, step px apart, the edge in their middle and
 * the film to the right. */
void tabulate_edge(const struct edge *edge, const struct channel *channels, int count, int n, double step, double *table);

/* Weigh values of v about each of its places from reach on, stride places apart, and
 * write n such sums. There are 2 (reach / stride) + 1 weights. */
void weigh(const double *v, const double *weights, int reach, int stride, int n, double *out);

#endif
