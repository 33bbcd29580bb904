/* A profile goes with samples that keep their meaning. */
#include "picture/colour.h"

#include "picture/picture_internal.h"

UfStatus uf_colour_copy_profile(const UfPicture *from, UfPicture *to, UfReport *report)
{
    return uf_blob_set(&to->metadata.icc, from->metadata.icc.data, from->metadata.icc.size_bytes, report);
}
