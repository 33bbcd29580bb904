/* uf_remap into a picture that is there. */
#ifndef UF_REMAP_FILL_H
#define UF_REMAP_FILL_H

#include <underfoot/remap.h>

/*
 * Views and options make sense. The target has its view's size, the source's sample type and channels, and
 * one more where alpha is added; its samples may be anything. After a failure they may be anything again.
 */
UfStatus uf_remap_fill(const UfPicture *source, const UfView *source_view, const UfView *target_view,
                       const UfRemapOptions *options, UfPicture *target, UfReport *report);

#endif
