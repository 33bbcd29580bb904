/*
 * What is let in to Exempi.
 *
 * XMP is RDF/XML without a document type (XMP Specification Part 1, 7.1), so a DOCTYPE has no place in a
 * packet: it is refused before any parser can expand its entities. Very deep nesting is refused too, since
 * Exempi walks its tree recursively. Exempi writes complaints to the program's stderr; it only gets what is
 * well-formed XML, with rdf:Description elements below rdf:RDF and no text between the properties.
 */
#include <expat.h>

#include "base/memory.h"
#include "picture/xmp_internal.h"

#define MAX_PACKET_BYTES (64u << 20)
#define MAX_DEPTH        128u
#define GUARD_LANGUAGE   "x-underfoot"
#define RDF              "http://www.w3.org/1999/02/22-rdf-syntax-ns# " /* with expat's separator */

typedef struct Walk {
    XML_Parser parser;
    const char *refusal;
    size_t depth, rdf_depth;     /* rdf_depth: of rdf:RDF, 0 outside it */
    size_t items[MAX_DEPTH + 2]; /* children so far of the element at each depth */
    size_t *places, place_count; /* where guards go */
} Walk;

static void refuse(Walk *walk, const char *why)
{
    walk->refusal = why;
    XML_StopParser(walk->parser, XML_FALSE);
}

static void XMLCALL on_document_type(void *data, const XML_Char *name, const XML_Char *system_id,
                                     const XML_Char *public_id, int has_internal_subset)
{
    (void)name, (void)system_id, (void)public_id, (void)has_internal_subset;
    refuse(data, "it has a document type, which XMP does not allow");
}

static void XMLCALL on_start(void *data, const XML_Char *name, const XML_Char **attributes)
{
    (void)attributes;
    Walk *walk = data;
    if (walk->depth >= MAX_DEPTH) {
        refuse(walk, "it is nested too deeply");
        return;
    }
    walk->items[walk->depth]++;
    walk->depth++;
    walk->items[walk->depth] = 0;
    bool below_rdf = walk->rdf_depth != 0 && walk->depth == walk->rdf_depth + 1;
    if (below_rdf && strcmp(name, RDF "Description") != 0)
        refuse(walk, "it is not RDF as XMP has it");
    if (walk->rdf_depth == 0 && strcmp(name, RDF "RDF") == 0)
        walk->rdf_depth = walk->depth;
}

static void XMLCALL on_end(void *data, const XML_Char *name)
{
    Walk *walk = data;
    if (strcmp(name, RDF "Alt") == 0 && walk->items[walk->depth] == 2) {
        size_t *grown = uf_realloc(walk->places, walk->place_count + 1, sizeof *grown);
        if (grown == NULL) {
            refuse(walk, uf_xmp_no_memory);
            return;
        }
        walk->places = grown;
        grown[walk->place_count++] = (size_t)XML_GetCurrentByteIndex(walk->parser);
    }
    if (walk->depth == walk->rdf_depth)
        walk->rdf_depth = 0;
    walk->depth--;
}

static void XMLCALL on_text(void *data, const XML_Char *text, int length)
{
    Walk *walk = data;
    bool between = walk->rdf_depth != 0 && walk->depth <= walk->rdf_depth + 1;
    for (int i = 0; between && i < length; i++)
        if (strchr(" \t\r\n", text[i]) == NULL) {
            refuse(walk, "it is not RDF as XMP has it");
            return;
        }
}

static const char *walk_over(UfBlob packet, Walk *walk)
{
    walk->parser = XML_ParserCreateNS(NULL, ' ');
    if (walk->parser == NULL)
        return uf_xmp_no_memory;
    XML_SetUserData(walk->parser, walk);
    XML_SetStartDoctypeDeclHandler(walk->parser, on_document_type);
    XML_SetElementHandler(walk->parser, on_start, on_end);
    XML_SetCharacterDataHandler(walk->parser, on_text);
    bool sound =
        XML_Parse(walk->parser, (const char *)packet.data, (int)packet.size_bytes, XML_TRUE) == XML_STATUS_OK;
    bool no_memory = !sound && XML_GetErrorCode(walk->parser) == XML_ERROR_NO_MEMORY;
    XML_ParserFree(walk->parser);
    if (no_memory)
        return uf_xmp_no_memory;
    return walk->refusal != NULL || sound ? walk->refusal : "it is not well-formed XML";
}

/* A guard in front of the end tag "</prefix:Alt>" at `tag`, with the same prefix; returns its length. */
static size_t make_guard(UfBlob packet, size_t tag, char *guard, size_t guard_bytes)
{
    const char *name = (const char *)packet.data + tag + 2;
    size_t rest = packet.size_bytes - tag - 2, prefix = 0;
    while (prefix < rest && name[prefix] != ':' && name[prefix] != '>' && name[prefix] != ' ')
        prefix++;
    prefix = prefix < rest && name[prefix] == ':' ? prefix + 1 : 0;
    int length = snprintf(guard, guard_bytes, "<%.*sli xml:lang='" GUARD_LANGUAGE "'/>", (int)prefix, name);
    return length > 0 && (size_t)length < guard_bytes ? (size_t)length : 0;
}

static UfStatus insert_guards(UfBlob packet, const Walk *walk, UfBlob *out)
{
    char guard[256];
    size_t room = packet.size_bytes + walk->place_count * sizeof guard, from = 0, to = 0;
    uint8_t *text = uf_alloc(room, 1);
    if (text == NULL)
        return UF_ERROR_MEMORY;
    for (size_t i = 0; i <= walk->place_count; i++) {
        size_t until = i < walk->place_count ? walk->places[i] : packet.size_bytes;
        memcpy(text + to, packet.data + from, until - from);
        to += until - from;
        from = until;
        if (i == walk->place_count)
            break;
        size_t length = make_guard(packet, until, guard, sizeof guard);
        memcpy(text + to, guard, length);
        to += length;
    }
    *out = (UfBlob){text, to};
    return UF_OK;
}

const char *uf_xmp_guard(UfBlob packet, UfBlob *guarded)
{
    if (packet.size_bytes > MAX_PACKET_BYTES)
        return "it is larger than 64 MiB";
    Walk walk = {0};
    const char *why = walk_over(packet, &walk);
    if (why == NULL && insert_guards(packet, &walk, guarded) != UF_OK)
        why = uf_xmp_no_memory;
    free(walk.places);
    return why;
}

/* Exempi writes a guard as an empty element on a line of its own. */
void uf_xmp_unguard(UfBlob *packet)
{
    static const char guard[] = "<rdf:li xml:lang=\"" GUARD_LANGUAGE "\"/>";
    const size_t guard_bytes = sizeof guard - 1;
    uint8_t *data = packet->data;
    size_t from = 0, to = 0, size = packet->size_bytes;
    while (from < size) {
        if (data[from] == '<' && size - from >= guard_bytes && memcmp(data + from, guard, guard_bytes) == 0) {
            from += guard_bytes;
            while (to > 0 && (data[to - 1] == ' ' || data[to - 1] == '\n'))
                to--;
            continue;
        }
        data[to++] = data[from++];
    }
    packet->size_bytes = to;
}
