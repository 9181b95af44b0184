/* The neighbourhood of a card, place by place. Used by lookup.go,
 * surroundings.go, find.go and rival.go only, which check sizes. */
#ifndef STRIPGAP_GROUND_H
#define STRIPGAP_GROUND_H

#include <stddef.h>

/* What a place is; 0 is ground. */
enum place_kind { PLACE_OUTSIDE = 1, PLACE_CARD = 2, PLACE_OFF_ZONE = 4 };

/* Look up one plane of w x h pixels, 2 x 2 at least, or two or three of that size at
 * once, those that are not being NULL, for the rows of a raster of width x height places,
 * in row y from column seen[2y] up to seen[2y+1]. Sixty-four times the plane's pixel is
 * (m0 x + m1 y + m2, m3 x + m4 y + m5) / (m6 x + m7 y + m8) at column x and row y. */
void look_up(const unsigned char *p, const unsigned char *q, const unsigned char *r,
	int w, int h, const double *m, const int *seen, int width, int height,
	unsigned char *p_out, unsigned char *q_out, unsigned char *r_out);

/* Turn luma and both chroma values of n places into features by two tables, of 256
 * each: bright is what luma becomes, inverse what chroma is multiplied by, in 1/256, under
 * 32768. */
void features(unsigned char *luma, unsigned char *cb, unsigned char *cr, size_t n,
	const unsigned char *bright, const int *inverse);

/* Average a feature over the cells of side x side places, leaving out the card and
 * what lies outside the photo. A cell with nothing else has filled 0 and is left as
 * it was. spare has room for two numbers a column. */
void average_cells(const unsigned char *feature, const unsigned char *kind, int width, int height, int side,
	unsigned *spare, unsigned char *cell, unsigned char *filled);

/* Medians of a w x h plane over window x window pixels, window odd and at most 15,
 * at every second pixel of every second row, beyond the border taken from it. spare
 * has room for what median_spare says. */
void medians(const unsigned char *plane, int w, int h, int window, unsigned char *spare, unsigned char *out);
size_t median_spare(int w, int h);

/* Subtract from the feature the medians of its cells, which lie two cells of side
 * places apart, interpolated between. spare has room for four numbers a column. */
void subtract(const unsigned char *feature, int width, int height, int side,
	const unsigned char *median, int columns, int rows, unsigned short *spare, short *diff);

/* Set mask to 255 where a place is ground and the sum of its squared differences,
 * each times scale, is over least, and to 0 elsewhere. */
void stand_out(const short *a, const short *b, const short *c, const unsigned char *kind, size_t n,
	const float *scale, float least, unsigned char *mask);

/* Set mask to 255 where a place is ground and the squared distance of its features,
 * each times scale, from those given is under most, and to 0 elsewhere. */
void resemble(const unsigned char *a, const unsigned char *b, const unsigned char *c, const unsigned char *kind, size_t n,
	const float *scale, const float *from, float most, unsigned char *mask);

#endif
