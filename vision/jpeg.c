#include <setjmp.h>
#include <stdio.h>
#include <string.h>

#include <jpeglib.h>
#include <jerror.h>

#include "jpeg.h"
#include "shrink.h"

/* A progressive file may repeat scans without end: a few bytes each, a pass
 * over the whole picture each. Real ones have about ten. */
#define MAX_SCANS 100

/* reader is libjpeg's decompressor with an error handler that jumps back into
 * the function that made it. */
struct reader {
	struct jpeg_decompress_struct j;
	struct jpeg_error_mgr errors;
	struct jpeg_progress_mgr progress;
	jmp_buf back;
	enum jpeg_kind kind;
};

__attribute__((noreturn)) static void give_up(struct reader *r, enum jpeg_kind kind)
{
	r->kind = kind;
	longjmp(r->back, 1);
}

static void on_error(j_common_ptr j)
{
	struct reader *r = j->client_data;

	switch (j->err->msg_code) {
	case JERR_EMPTY_IMAGE:
		give_up(r, KIND_EMPTY);
	case JERR_IMAGE_TOO_BIG:
		give_up(r, KIND_TOO_LARGE);
	case JERR_BAD_PRECISION:
		give_up(r, KIND_TOO_DEEP);
	case JERR_SOF_UNSUPPORTED:
	case JERR_ARITH_NOTIMPL:
	case JERR_COMPONENT_COUNT:
	case JERR_FRACT_SAMPLE_NOTIMPL:
	case JERR_CCIR601_NOTIMPL:
		give_up(r, KIND_UNSUPPORTED);
	}
	give_up(r, KIND_DAMAGED);
}

/* on_message gives up at the first warning that pixels are missing or made up.
 * Stray bytes between segments and odd version numbers harm nothing. */
static void on_message(j_common_ptr j, int level)
{
	if (level >= 0)
		return; /* trace output */
	switch (j->err->msg_code) {
	case JWRN_EXTRANEOUS_DATA:
	case JWRN_JFIF_MAJOR:
	case JWRN_ADOBE_XFORM:
	case JWRN_TOO_MUCH_DATA:
		return;
	}
	give_up(j->client_data, KIND_DAMAGED);
}

static void on_progress(j_common_ptr j)
{
	if (((j_decompress_ptr)j)->input_scan_number > MAX_SCANS)
		give_up(j->client_data, KIND_UNSUPPORTED);
}

/* open_reader reads the header. The caller has set r->back. */
static void open_reader(struct reader *r, const unsigned char *data, size_t n)
{
	r->j.err = jpeg_std_error(&r->errors);
	r->errors.error_exit = on_error;
	r->errors.emit_message = on_message;
	r->j.client_data = r;
	jpeg_create_decompress(&r->j); /* keeps err and client_data */
	r->progress.progress_monitor = on_progress;
	r->j.progress = &r->progress;
	jpeg_mem_src(&r->j, data, n);
	jpeg_read_header(&r->j, TRUE);
	if (r->j.arith_code)
		give_up(r, KIND_UNSUPPORTED);
	r->j.do_block_smoothing = FALSE; /* made-up detail is no measurement */
}

static enum jpeg_colour colour_of(J_COLOR_SPACE s)
{
	switch (s) {
	case JCS_YCbCr:
		return COLOUR_YCBCR;
	case JCS_RGB:
		return COLOUR_RGB;
	case JCS_GRAYSCALE:
		return COLOUR_GREY;
	case JCS_CMYK:
	case JCS_YCCK:
		return COLOUR_CMYK;
	default:
		return COLOUR_OTHER;
	}
}

enum jpeg_kind read_jpeg_header(const unsigned char *data, size_t n, struct jpeg_info *info)
{
	struct reader r = {.kind = KIND_OK};

	memset(info, 0, sizeof *info);
	if (!setjmp(r.back)) {
		open_reader(&r, data, n);
		info->width = r.j.image_width;
		info->height = r.j.image_height;
		info->colour = colour_of(r.j.jpeg_color_space);
		info->max_h = r.j.max_h_samp_factor;
		info->max_v = r.j.max_v_samp_factor;
		for (int i = 0; i < 3 && i < r.j.num_components; i++) {
			const jpeg_component_info *c = &r.j.comp_info[i];
			info->plane_w[i] = c->downsampled_width;
			info->plane_h[i] = c->downsampled_height;
			info->factor_h[i] = c->h_samp_factor;
			info->factor_v[i] = c->v_samp_factor;
		}
	}
	jpeg_destroy_decompress(&r.j);
	return r.kind;
}

/* read_raw decodes one band of blocks after another. The library writes whole
 * blocks: straight into a plane that has room for them, otherwise into a scratch
 * band from which the samples inside are copied. */
static void read_raw(struct reader *r, unsigned char *plane[3], unsigned char *small[3], unsigned char *spare)
{
	j_decompress_ptr j = &r->j;
	JSAMPARRAY band[3], scratch[3];
	JDIMENSION done[3] = {0, 0, 0};

	for (int i = 0; i < 3; i++) {
		jpeg_component_info *c = &j->comp_info[i];
		JDIMENSION rows = c->v_samp_factor * DCTSIZE;
		scratch[i] = j->mem->alloc_sarray((j_common_ptr)j, JPOOL_IMAGE,
			(c->width_in_blocks + c->h_samp_factor) * DCTSIZE, rows);
		band[i] = j->mem->alloc_small((j_common_ptr)j, JPOOL_IMAGE, rows * sizeof *band[i]);
	}
	while (j->output_scanline < j->output_height) {
		for (int i = 0; i < 3; i++) {
			const jpeg_component_info *c = &j->comp_info[i];
			size_t w = c->downsampled_width;
			JDIMENSION rows = c->v_samp_factor * DCTSIZE;
			int fits = w == (size_t)c->width_in_blocks * DCTSIZE &&
				done[i] + rows <= c->downsampled_height;
			for (JDIMENSION k = 0; k < rows; k++)
				band[i][k] = fits ? plane[i] + (done[i] + k) * w : scratch[i][k];
		}
		JDIMENSION start[3] = {done[0], done[1], done[2]};
		jpeg_read_raw_data(j, band, j->max_v_samp_factor * DCTSIZE);
		for (int i = 0; i < 3; i++) {
			const jpeg_component_info *c = &j->comp_info[i];
			size_t w = c->downsampled_width;
			for (int k = 0; k < c->v_samp_factor * DCTSIZE &&
				done[i] < c->downsampled_height; k++, done[i]++)
				if (band[i][k] == scratch[i][k])
					memcpy(plane[i] + done[i] * w, band[i][k], w);
		}
		for (int i = 0; i < 3; i++) {
			size_t w = j->comp_info[i].downsampled_width;
			const unsigned char *rows = plane[i] + start[i] * w;
			if (small[i] && i == 0)
				quarter_plane(rows, w, done[i] - start[i], small[i] + start[i] / 4 * (w / 4), spare);
			else if (small[i])
				halve_plane(rows, w, done[i] - start[i], small[i] + start[i] / 2 * (w / 2));
		}
	}
}

enum jpeg_kind read_jpeg_planes(const unsigned char *data, size_t n,
	unsigned char *y, unsigned char *cb, unsigned char *cr,
	unsigned char *y_fourth, unsigned char *cb_half, unsigned char *cr_half, unsigned char *spare)
{
	struct reader r = {.kind = KIND_OK};
	unsigned char *plane[3] = {y, cb, cr}, *small[3] = {y_fourth, cb_half, cr_half};

	if (!setjmp(r.back)) {
		open_reader(&r, data, n);
		if (r.j.num_components != 3)
			give_up(&r, KIND_UNSUPPORTED);
		r.j.raw_data_out = TRUE;
		r.j.out_color_space = r.j.jpeg_color_space;
		jpeg_start_decompress(&r.j);
		read_raw(&r, plane, small, spare);
		jpeg_finish_decompress(&r.j);
	}
	jpeg_destroy_decompress(&r.j);
	return r.kind;
}

enum jpeg_kind read_jpeg_grey(const unsigned char *data, size_t n, unsigned char *grey)
{
	struct reader r = {.kind = KIND_OK};

	if (!setjmp(r.back)) {
		open_reader(&r, data, n);
		r.j.out_color_space = JCS_GRAYSCALE;
		jpeg_start_decompress(&r.j);
		while (r.j.output_scanline < r.j.output_height) {
			JSAMPROW row = grey + (size_t)r.j.output_scanline * r.j.output_width;
			jpeg_read_scanlines(&r.j, &row, 1);
		}
		jpeg_finish_decompress(&r.j);
	}
	jpeg_destroy_decompress(&r.j);
	return r.kind;
}
