/* Writing what came home. */
#include <underfoot/putback.h>

#include "base/file.h"
#include "base/memory.h"

#define BUFFER_BYTES 65536u

static UfStatus copy_bytes(UfInput *input, UfOutput *output, UfReport *report)
{
    uint8_t *buffer = uf_alloc(BUFFER_BYTES, 1);
    UfStatus status = buffer == NULL ? uf_fail_memory(report) : UF_OK;
    while (status == UF_OK) {
        size_t got = fread(buffer, 1, BUFFER_BYTES, input->stream);
        if (got == 0) {
            if (ferror(input->stream))
                status = uf_fail_errno(report, "cannot read", input->path);
            break;
        }
        if (fwrite(buffer, 1, got, output->stream) != got)
            status = uf_fail_errno(report, "cannot write", output->final_path);
    }
    free(buffer);
    return status;
}

static UfStatus copy_file(const char *from, const char *to, bool overwrite, UfReport *report)
{
    UfInput input;
    UfOutput output;
    UfStatus status = uf_input_open(from, &input, report);
    if (status != UF_OK)
        return status;
    status = uf_output_open(to, overwrite, &output, report);
    if (status == UF_OK) {
        status = copy_bytes(&input, &output, report);
        if (status == UF_OK)
            status = uf_output_commit(&output, report);
        else
            uf_output_discard(&output);
    }
    uf_input_close(&input);
    return status;
}

UfStatus uf_putback_write(const UfPicture *panorama, const char *source_path, const UfTouched *touched,
                          const UfPutbackResult *result, const char *path, const UfWriteOptions *options,
                          UfReport *report)
{
    static const UfWriteOptions defaults = {0};
    if (options == NULL)
        options = &defaults;
    bool as_it_was = result->changed_px == 0 && options->quality == 0 && options->depth_bits == 0 &&
                     uf_format_from_name(path) == uf_picture_format(panorama);
    if (as_it_was)
        return copy_file(source_path, path, options->overwrite, report);
    return uf_picture_rewrite(panorama, source_path, touched, path, options, report);
}
