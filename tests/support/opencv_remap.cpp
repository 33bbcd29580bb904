#include "support/opencv_remap.h"

#include <opencv2/imgproc.hpp>

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

void opencv_remap(const uint8_t *pixels, size_t width, size_t height, size_t channels, const double *map_x,
                  const double *map_y, size_t out_width, size_t out_height, OpencvKernel kernel, uint8_t *out)
{
    const int kind = CV_MAKETYPE(CV_8U, static_cast<int>(channels));
    const cv::Size size(static_cast<int>(out_width), static_cast<int>(out_height));
    const cv::Mat source(static_cast<int>(height), static_cast<int>(width), kind, const_cast<uint8_t *>(pixels));
    cv::Mat x;
    cv::Mat y;
    cv::Mat(size, CV_64F, const_cast<double *>(map_x)).convertTo(x, CV_32F);
    cv::Mat(size, CV_64F, const_cast<double *>(map_y)).convertTo(y, CV_32F);
    cv::Mat target(size, kind, out);
    cv::remap(source, target, x, y, interpolation_of(kernel), cv::BORDER_CONSTANT);
}
