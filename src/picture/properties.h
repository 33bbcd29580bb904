/* Simple text properties of one namespace in a picture's XMP. */
#ifndef UF_PICTURE_PROPERTIES_H
#define UF_PICTURE_PROPERTIES_H

#include <underfoot/picture.h>

#include "base/report.h"

#define UF_PROPERTY_BYTES 200

typedef struct UfProperty {
    const char *name; /* borrowed */
    bool present;
    char value[UF_PROPERTY_BYTES];
} UfProperty;

/*
 * Replaces everything that the namespace holds by the properties that are present. UF_ERROR_FORMAT when the
 * picture's packet cannot be read.
 */
UfStatus uf_picture_set_properties(UfPicture *picture, const char *ns, const char *prefix,
                                   const UfProperty *properties, size_t count, UfReport *report);
/*
 * Looks the named properties up. What is too long is cut. A packet that cannot be read holds nothing, with a
 * warning; one that does not name the namespace is not parsed.
 */
UfStatus uf_picture_get_properties(const UfPicture *picture, const char *ns, UfProperty *properties,
                                   size_t count, UfReport *report);

#endif
