#include "support/opencv_inpaint.h"

#include <opencv2/photo.hpp>

void opencv_inpaint(uint8_t *pixels, const uint8_t *mask, size_t width, size_t height, OpencvInpaint method)
{
    const cv::Size size(static_cast<int>(width), static_cast<int>(height));
    cv::Mat picture(size, CV_8UC3, pixels);
    const cv::Mat hole(size, CV_8UC1, const_cast<uint8_t *>(mask));
    cv::Mat filled;
    cv::setNumThreads(1);
    /* 3: the radius of OpenCV's own example */
    cv::inpaint(picture, hole, filled, 3, method == OPENCV_NS ? cv::INPAINT_NS : cv::INPAINT_TELEA);
    filled.copyTo(picture);
}
