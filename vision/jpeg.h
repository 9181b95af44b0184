/* A narrow door to libjpeg-turbo: errors come back as kinds, never as a jump
 * or an exit. Used by jpeg.go only. */
#ifndef STRIPGAP_JPEG_H
#define STRIPGAP_JPEG_H

#include <stddef.h>

enum jpeg_kind {
	KIND_OK,
	KIND_DAMAGED,     /* cut short, or the data make no sense */
	KIND_EMPTY,       /* a width or height of zero */
	KIND_TOO_LARGE,   /* beyond what the format itself allows */
	KIND_TOO_DEEP,    /* more than 8 bits a sample */
	KIND_UNSUPPORTED, /* a coding process that is not read */
};

enum jpeg_colour { COLOUR_YCBCR, COLOUR_RGB, COLOUR_GREY, COLOUR_CMYK, COLOUR_OTHER };

struct jpeg_info {
	int width, height;
	enum jpeg_colour colour;
	/* of the first three components: */
	int plane_w[3], plane_h[3]; /* samples */
	int factor_h[3], factor_v[3]; /* sampling factors */
	int max_h, max_v;             /* the largest of all components */
};

/* Read the header alone. */
enum jpeg_kind read_jpeg_header(const unsigned char *data, size_t n, struct jpeg_info *info);

/* Decode three components as they are stored, each into a packed plane of
 * plane_w x plane_h samples as read_jpeg_header gave them for the same data. While they
 * are in the cache they are also averaged, the first as quarter_plane does it and the
 * others as halve_plane does: unless what they go to is NULL. */
enum jpeg_kind read_jpeg_planes(const unsigned char *data, size_t n,
	unsigned char *y, unsigned char *cb, unsigned char *cr,
	unsigned char *y_fourth, unsigned char *cb_half, unsigned char *cr_half, unsigned char *spare);

/* Decode to grey, packed, width x height. */
enum jpeg_kind read_jpeg_grey(const unsigned char *data, size_t n, unsigned char *grey);

#endif
