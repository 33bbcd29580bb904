/* Shared by the XMP files: packets in and out of Exempi. */
#ifndef UF_PICTURE_XMP_INTERNAL_H
#define UF_PICTURE_XMP_INTERNAL_H

#include <exempi/xmp.h>

#include "picture/metadata.h"

#define UF_XMP_NS_GPANO     "http://ns.google.com/photos/1.0/panorama/"
#define UF_XMP_NS_GAIN_MAP  "http://ns.adobe.com/hdr-gain-map/1.0/"
#define UF_XMP_NS_CONTAINER "http://ns.google.com/photos/1.0/container/"
#define UF_XMP_NS_ITEM      "http://ns.google.com/photos/1.0/container/item/"
#define UF_XMP_NS_NOTE      "http://ns.adobe.com/xmp/note/"

/* XMP Specification Part 3, 1.1.3: the largest packet in a JPEG segment. */
#define UF_XMP_JPEG_LIMIT_BYTES 65502u

/*
 * Parses a packet; an empty one gives an empty document. NULL when it is refused, `why` then says why in a
 * clause for a message. Free with xmp_free.
 */
XmpPtr uf_xmp_open(UfBlob packet, const char **why);

/*
 * Looks over a packet before Exempi gets it; NULL and a copy in *guarded (owned by the caller) when it may,
 * else the reason against it. In the copy every pair of language alternatives has a third, a guard: of two,
 * Exempi makes the second a copy of the first when it writes them. uf_xmp_unguard takes the guards out of
 * what Exempi has written.
 */
extern const char uf_xmp_no_memory[]; /* compared by address: what is given as the reason when memory ran out */
const char *uf_xmp_guard(UfBlob packet, UfBlob *guarded);
void uf_xmp_unguard(UfBlob *packet);

typedef enum UfXmpForm {
    UF_XMP_PADDED,   /* with the usual padding, so that others can edit it in place */
    UF_XMP_COMPACT,  /* as small as possible */
    UF_XMP_EXTENSION /* compact and without the packet wrapper */
} UfXmpForm;
UfStatus uf_xmp_store(XmpPtr xmp, UfXmpForm form, UfBlob *packet, UfReport *report);

/* A decimal number or a rational with nothing else but blanks around it. */
bool uf_xmp_parse_real(const char *text, double *out);
bool uf_xmp_get_real(XmpPtr xmp, const char *ns, const char *name, double *out);

/* Deletes every property of a namespace; *changed becomes true when there was one. */
UfStatus uf_xmp_delete_namespace(XmpPtr xmp, const char *ns, bool *changed, UfReport *report);

/* Names of the document's top-level properties, each with its namespace and about how many bytes it takes. */
typedef struct UfXmpProperty {
    char *ns, *name;
    size_t bytes;
} UfXmpProperty;
/* ns NULL: of all namespaces. The caller frees the list with uf_xmp_free_list, also after false (no memory).
 */
bool uf_xmp_list(XmpPtr xmp, const char *ns, UfXmpProperty **list, size_t *count);
void uf_xmp_free_list(UfXmpProperty **list, size_t *count);

/* 32 upper-case hexadecimal digits and NUL: RFC 1321. */
void uf_md5_hex(const uint8_t *data, size_t size_bytes, char hex[33]);

#endif
