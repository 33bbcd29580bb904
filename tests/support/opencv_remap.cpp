#include "support/opencv_remap.h"

#include <opencv2/imgproc.hpp>

struct OpencvMaps {
    cv::Mat x;
    cv::Mat y;
};

static int interpolation_of(OpencvKernel kernel)
{
    switch (kernel) {
    case OPENCV_LINEAR:
        return cv::INTER_LINEAR;
    case OPENCV_CUBIC:
        return cv::INTER_CUBIC;
    case OPENCV_LANCZOS4:
        break;
    }
    return cv::INTER_LANCZOS4;
}

static int depth_of(size_t sample_bytes)
{
    return sample_bytes == 1 ? CV_8U : sample_bytes == 2 ? CV_16U : CV_32F;
}

OpencvMaps *opencv_maps_create(const double *map_x, const double *map_y, size_t width, size_t height, int is_fixed)
{
    const cv::Size size(static_cast<int>(width), static_cast<int>(height));
    auto *maps = new OpencvMaps;
    cv::Mat(size, CV_64F, const_cast<double *>(map_x)).convertTo(maps->x, CV_32F);
    cv::Mat(size, CV_64F, const_cast<double *>(map_y)).convertTo(maps->y, CV_32F);
    if (is_fixed != 0) {
        OpencvMaps fixed;
        cv::convertMaps(maps->x, maps->y, fixed.x, fixed.y, CV_16SC2);
        *maps = fixed;
    }
    return maps;
}

void opencv_maps_free(OpencvMaps *maps)
{
    delete maps;
}

void opencv_remap_ready(const OpencvMaps *maps, const void *pixels, size_t width, size_t height, size_t channels,
                        size_t sample_bytes, OpencvKernel kernel, void *out)
{
    const int kind = CV_MAKETYPE(depth_of(sample_bytes), static_cast<int>(channels));
    const cv::Mat source(static_cast<int>(height), static_cast<int>(width), kind, const_cast<void *>(pixels));
    cv::Mat target(maps->x.size(), kind, out);
    cv::setNumThreads(1);
    cv::remap(source, target, maps->x, maps->y, interpolation_of(kernel), cv::BORDER_CONSTANT);
}

void opencv_remap_averaged(const OpencvMaps *maps, const void *pixels, size_t width, size_t height, size_t channels,
                           size_t sample_bytes, OpencvKernel kernel, void *twice, void *out)
{
    const int kind = CV_MAKETYPE(depth_of(sample_bytes), static_cast<int>(channels));
    const cv::Mat large(maps->x.size(), kind, twice);
    cv::Mat target(large.rows / 2, large.cols / 2, kind, out);
    opencv_remap_ready(maps, pixels, width, height, channels, sample_bytes, kernel, twice);
    cv::resize(large, target, target.size(), 0, 0, cv::INTER_AREA);
}

void opencv_remap(const uint8_t *pixels, size_t width, size_t height, size_t channels, const double *map_x,
                  const double *map_y, size_t out_width, size_t out_height, OpencvKernel kernel, uint8_t *out)
{
    OpencvMaps *maps = opencv_maps_create(map_x, map_y, out_width, out_height, 0);
    opencv_remap_ready(maps, pixels, width, height, channels, 1, kernel, out);
    opencv_maps_free(maps);
}
